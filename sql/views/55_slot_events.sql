-- What begins and ends the stay of a piece in a position: the watch, logged change-outs, and
-- unlogged ones and turns where those doubts act. Two pieces fitted at one time follow each other
-- by a second. An event that nobody dated lies between moment_from and moment_until. What is
-- fitted on the first day of the watch without a time was there from its beginning.
CREATE OR REPLACE TEMP TABLE slot_events AS
WITH left_out AS (
    SELECT t.*
    FROM two_parts AS t
    WHERE t.acts
),

logged AS (
    SELECT
        c.machine,
        c.place,
        c.position,
        CASE
            WHEN c.action = 'fitted' AND c.whole_day AND c.change_day = s.first_moment::DATE
                THEN s.first_moment
            ELSE c.moment + to_seconds(row_number() OVER same_time - 1)
        END AS moment,
        c.moment_from,
        NULL::TIMESTAMP AS moment_until,
        c.action,
        c.part_type,
        c.reason,
        c.fitted_mm,
        c.piece,
        c.age_at_fit
    FROM changes AS c
    INNER JOIN slots AS s
        ON c.machine = s.machine AND c.place = s.place AND c.position = s.position
    LEFT JOIN left_out AS t
        ON
            c.machine = t.machine
            AND c.place = t.place
            AND c.position = t.position
            AND c.moment = t.moment
            AND c.action = t.action
    WHERE
        NOT c.is_set
        AND t.how IS DISTINCT FROM 'occupied'
        AND c.moment >= s.first_moment
        AND c.moment < coalesce(s.end_moment, TIMESTAMP '9999-12-31')
    WINDOW
        same_time AS (
            PARTITION BY c.machine, c.place, c.position, c.moment, c.action
            ORDER BY c.piece NULLS LAST, c.fitted_mm NULLS LAST, c.reason NULLS LAST
        )
    QUALIFY
        row_number() OVER same_time = 1
        OR (c.action IN ('fitted', 'replaced') AND t.how IS NULL)
),

begun AS (
    SELECT
        s.machine,
        s.place,
        s.position,
        s.first_moment AS moment,
        'watched' AS action,
        NULL::TIMESTAMP AS moment_from,
        NULL::TIMESTAMP AS moment_until,
        s.part_type,
        NULL::VARCHAR AS reason,
        NULL::DOUBLE AS fitted_mm,
        NULL::VARCHAR AS piece,
        s.start_age AS age_at_fit
    FROM slots AS s
    CROSS JOIN until_day AS u
    ANTI JOIN logged AS l
        ON
            s.machine = l.machine
            AND s.place = l.place
            AND s.position = l.position
            AND l.moment::DATE = s.first_moment::DATE
            AND l.action IN ('fitted', 'replaced')
    WHERE s.first_moment < u.last_moment
)

SELECT l.*
FROM logged AS l
UNION ALL BY NAME
SELECT b.*
FROM begun AS b
UNION ALL BY NAME
SELECT
    n.machine,
    n.place,
    n.position,
    n.moment,
    CASE WHEN NOT n.is_dated THEN n.moment_from END AS moment_from,
    CASE WHEN NOT n.is_dated THEN n.moment_until END AS moment_until,
    'unlogged' AS action,
    NULL::VARCHAR AS part_type,
    NULL::VARCHAR AS reason,
    NULL::DOUBLE AS fitted_mm,
    NULL::VARCHAR AS piece,
    NULL::DECIMAL(12, 2) AS age_at_fit
FROM unlogged_change_out AS n
WHERE n.acts
UNION ALL BY NAME
SELECT
    f.machine,
    f.place,
    f.position,
    f.moment,
    f.moment_from,
    f.moment_until,
    'turned' AS action,
    NULL::VARCHAR AS part_type,
    NULL::VARCHAR AS reason,
    NULL::DOUBLE AS fitted_mm,
    NULL::VARCHAR AS piece,
    NULL::DECIMAL(12, 2) AS age_at_fit
FROM flipped_strip AS f
WHERE f.acts
ORDER BY machine, place, position, moment, action
