-- Sums by season of each piece's readings: hours in thousands, exact in decimals.
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
        one.season_no,
        one.season,
        two.season_no AS other_no,
        two.season AS other,
        c.wear_mm,
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
    INNER JOIN spell_seasons AS one ON c.spell_no = one.spell_no
    INNER JOIN spell_seasons AS two
        ON c.spell_no = two.spell_no AND one.season_no <= two.season_no
)

SELECT
    p.piece,
    p.season,
    p.other,
    CASE WHEN p.season_no = p.other_no THEN sum(p.x)::DOUBLE ELSE 0 END AS sx,
    CASE WHEN p.season_no = p.other_no THEN sum(p.x * p.wear_mm)::DOUBLE ELSE 0 END AS sxy,
    sum(p.x * p.x_other)::DOUBLE AS sxx
FROM paired AS p
GROUP BY p.piece, p.season_no, p.season, p.other_no, p.other
HAVING sum(p.x) > 0 AND sum(p.x_other) > 0
ORDER BY p.piece, p.season_no, p.other_no
