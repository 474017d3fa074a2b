-- Readings found ok or over, as bounds of the wear depth. Those of a set belong to no known piece;
-- what share of the set was replaced before says whether its pieces are still of one age.
WITH renewed AS (
    SELECT
        b.bound,
        sum(c.replaced) AS replaced,
        sum(c.replaced) FILTER (NOT c.by_failure) AS culled
    FROM bounds AS b
    INNER JOIN set_renewals AS c ON b.piece = c.unit AND b.moment > c.moment
    WHERE b.is_set
    GROUP BY b.bound
)

SELECT
    b.bound,
    b.machine,
    b.position,
    b.part_type,
    b.duty_group,
    b.reading_day::TIMESTAMP AS day,
    b.age::DOUBLE AS age,
    b.low_mm,
    b.high_mm,
    CASE WHEN b.is_set THEN '' ELSE b.piece END AS piece,
    CASE WHEN b.is_set THEN concat_ws(' ', b.machine, b.piece, b.reading_day) ELSE '' END AS visit,
    coalesce(b.chosen, 'all') = 'suspect' AS suspect,
    (coalesce(c.replaced, 0) / greatest(b.quantity, 1))::DOUBLE AS replaced_share,
    (coalesce(c.culled, 0) / greatest(b.quantity, 1))::DOUBLE AS culled_share
FROM bounds AS b
LEFT JOIN renewed AS c ON b.bound = c.bound
ORDER BY b.machine, b.reading_day, b.position, b.bound
