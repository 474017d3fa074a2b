-- Sums by season and phase (cell) of each piece's readings: hours in thousands, exact in decimals.
-- A cell may have several segments; products of sums are sums of products of its segments.
WITH counted AS (
    SELECT
        a.spell_no,
        a.piece,
        a.wear_mm,
        a.meter_hours::DOUBLE AS meter_hours,
        row_number() OVER () AS reading
    FROM aged AS a
    WHERE NOT a.is_set AND NOT a.is_suspect AND a.age IS NOT NULL
),

-- segments in which a piece had not run by a reading would add nothing but pairs
run AS (
    SELECT
        c.reading,
        c.piece,
        c.wear_mm,
        s.cell_no,
        s.cell,
        s.segment_no,
        ((
            s.base_hours
            + (
                greatest(least(c.meter_hours, s.high) - s.low, 0) * s.clock_per_hour
            )::DECIMAL(14, 2)
        ) / 1000)::DECIMAL(12, 5) AS x
    FROM counted AS c
    INNER JOIN spell_seasons AS s ON c.spell_no = s.spell_no
    WHERE s.base_hours > 0 OR c.meter_hours > s.low
),

paired AS (
    SELECT
        one.piece,
        one.cell_no,
        one.cell AS season,
        two.cell_no AS other_no,
        two.cell AS other,
        one.wear_mm,
        one.x,
        two.x AS x_other,
        one.segment_no = two.segment_no AS is_same
    FROM run AS one
    INNER JOIN run AS two
        ON one.reading = two.reading AND one.cell_no <= two.cell_no
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
