-- Sums by season and phase (cell) of each piece's readings: hours in thousands, exact in decimals.
-- A cell may have several segments; products of sums are sums of products of its segments.
WITH counted AS (
    SELECT
        a.spell_no,
        a.piece,
        a.wear_mm,
        a.meter_hours::DOUBLE AS meter_hours
    FROM aged AS a
    WHERE NOT a.is_set AND NOT a.is_suspect AND a.age IS NOT NULL
),

paired AS (
    SELECT
        c.piece,
        one.cell_no,
        one.cell AS season,
        two.cell_no AS other_no,
        two.cell AS other,
        c.wear_mm,
        one.segment_no = two.segment_no AS is_same,
        ((
            one.base_hours
            + (
                greatest(least(c.meter_hours, one.high) - one.low, 0) * one.clock_per_hour
            )::DECIMAL(14, 2)
        ) / 1000)::DECIMAL(12, 5) AS x,
        ((
            two.base_hours
            + (
                greatest(least(c.meter_hours, two.high) - two.low, 0) * two.clock_per_hour
            )::DECIMAL(14, 2)
        ) / 1000)::DECIMAL(12, 5) AS x_other
    FROM counted AS c
    INNER JOIN spell_seasons AS one
        ON c.spell_no = one.spell_no AND (c.meter_hours > one.low OR one.base_hours > 0)
    INNER JOIN spell_seasons AS two
        ON
            c.spell_no = two.spell_no
            AND one.cell_no <= two.cell_no
            AND (c.meter_hours > two.low OR two.base_hours > 0)
)

SELECT
    p.piece,
    p.season,
    p.other,
    coalesce(sum(p.x) FILTER (p.is_same), 0)::DOUBLE AS sx,
    coalesce(sum(p.x * p.wear_mm) FILTER (p.is_same), 0)::DOUBLE AS sxy,
    sum(p.x * p.x_other)::DOUBLE AS sxx
FROM paired AS p
GROUP BY p.piece, p.cell_no, p.season, p.other_no, p.other
HAVING sum(p.x) > 0 AND sum(p.x_other) > 0
ORDER BY p.piece, p.cell_no, p.other_no
