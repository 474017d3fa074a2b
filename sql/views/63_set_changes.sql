-- Pieces replaced in sets, by set, week and failure mode; mode is empty where the reason is no
-- failure. 'worn' is one only where the part type has no readings and was not changed at an age.
CREATE OR REPLACE TEMP TABLE set_changes AS
WITH counted AS (
    SELECT
        c.machine,
        c.place,
        c.moment,
        c.change_day,
        c.quantity,
        c.reason,
        c.kit
    FROM changes AS c
    WHERE
        c.is_set
        AND (
            c.action = 'replaced'
            OR (c.action = 'fitted' AND NOT EXISTS (
                SELECT 1
                FROM set_events AS e
                WHERE
                    e.machine = c.machine
                    AND e.place = c.place
                    AND e.moment = c.moment
                    AND e.action = c.action
            ))
        )
),

s AS (SELECT * FROM spells WHERE is_set),

in_set AS (
    SELECT
        c.*,
        s.piece AS in_place,
        s.part_type,
        s.past_policy
    FROM counted AS c
    ASOF INNER JOIN s
        ON c.machine = s.machine AND c.place = s.place AND c.moment >= s.start_moment
),

read_types AS (
    SELECT DISTINCT r.part_type
    FROM rows_used AS r
),

of_unit AS (
    SELECT
        i.*,
        coalesce(i.kit, i.in_place) AS unit,
        CASE
            WHEN i.reason IN ('broken', 'seized', 'chemical') THEN i.reason
            WHEN
                i.reason = 'worn'
                AND t.part_type IS NULL
                AND coalesce(i.past_policy, '') <> 'at_age'
                THEN 'worn'
            ELSE ''
        END AS mode
    FROM in_set AS i
    LEFT JOIN read_types AS t ON i.part_type = t.part_type
)

SELECT
    o.unit,
    o.machine,
    o.part_type,
    o.moment,
    date_trunc('week', o.change_day)::DATE AS week_day,
    o.mode,
    sum(o.quantity)::BIGINT AS replaced
FROM of_unit AS o
GROUP BY ALL
ORDER BY o.unit, o.moment, o.mode
