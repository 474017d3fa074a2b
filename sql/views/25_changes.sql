-- Change-outs at known places, in the order of the day; quantity 0 (looked, nothing changed) is
-- no change. A row without a position on a place of serialised pieces means all its positions if
-- its quantity says so; otherwise nobody knows which, and it is a doubt.
CREATE OR REPLACE TEMP TABLE changes AS
WITH known AS (
    SELECT
        r.place,
        r.part_type,
        r.is_set,
        c.machine,
        position_name(c.position) AS position,
        c.action,
        c.quantity,
        c.reason,
        c.fitted_mm::DOUBLE AS fitted_mm,
        c.piece,
        c.kit,
        c.batch,
        c.age_at_fit::DECIMAL(12, 2) AS age_at_fit,
        c.whole_day,
        c.taken_at::DATE AS change_day,
        moment(c.taken_at, c.whole_day, CASE c.action WHEN 'fitted' THEN 3 ELSE 2 END)
            AS moment,
        moment(c.taken_from, c.whole_day, 0) AS moment_from
    FROM change_outs AS c
    INNER JOIN resolved AS r
        ON
            c.machine = r.machine
            AND r.said_place IS NOT DISTINCT FROM c.place
            AND r.said_type IS NOT DISTINCT FROM c.part_type
            AND r.kit IS NOT DISTINCT FROM c.kit
    CROSS JOIN until_day AS u
    WHERE c.quantity > 0 AND c.taken_at < u.last_moment
),

whole AS (
    SELECT
        s.machine,
        s.place,
        s.position,
        count(*) OVER (PARTITION BY s.machine, s.place) AS positions
    FROM slots AS s
)

SELECT k.*
FROM known AS k
WHERE k.is_set OR k.position IS NOT NULL
UNION ALL BY NAME
SELECT k.* REPLACE (w.position AS position)
FROM known AS k
INNER JOIN whole AS w
    ON k.machine = w.machine AND k.place = w.place AND k.quantity >= w.positions
WHERE NOT k.is_set AND k.position IS NULL
ORDER BY ALL
