-- What begins and ends the stay of a set in its place: the watch, and sets fitted and removed.
CREATE OR REPLACE TEMP TABLE set_events AS
WITH units AS (
    SELECT
        p.machine,
        p.place,
        p.part_type,
        min(p.unit) AS unit,
        max(p.quantity) AS quantity
    FROM places AS p
    WHERE p.is_set
    GROUP BY p.machine, p.place, p.part_type
),

switched AS (
    SELECT DISTINCT
        c.machine,
        c.place,
        c.moment,
        c.moment_from,
        c.action,
        c.part_type,
        c.reason,
        c.age_at_fit,
        coalesce(c.kit, u.unit) AS unit
    FROM changes AS c
    LEFT JOIN units AS u
        ON c.machine = u.machine AND c.place = u.place AND c.part_type = u.part_type
    WHERE
        c.is_set
        AND c.position IS NULL
        AND c.action IN ('fitted', 'removed')
        AND (c.kit IS NOT NULL OR c.reason = 'size_change' OR c.quantity >= u.quantity)
),

begun AS (
    SELECT
        p.machine,
        p.place,
        p.first_moment AS moment,
        'watched' AS action,
        NULL::TIMESTAMP AS moment_from,
        p.part_type,
        NULL::VARCHAR AS reason,
        p.start_age AS age_at_fit,
        p.unit
    FROM places AS p
    CROSS JOIN until_day AS u
    ANTI JOIN switched AS s
        ON
            p.machine = s.machine
            AND p.place = s.place
            AND s.action = 'fitted'
            AND s.moment::DATE = p.first_moment::DATE
    WHERE p.in_place AND p.first_moment < u.last_moment
)

SELECT s.*
FROM switched AS s
UNION ALL BY NAME
SELECT b.*
FROM begun AS b
ORDER BY machine, place, moment, action, unit
