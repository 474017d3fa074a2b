-- Hours (thousands) the visited set had run in each season.
WITH run_so_far AS (
    SELECT
        v.visit,
        v.machine,
        v.reading_day,
        c.season,
        c.season_no,
        ((
            c.base_hours
            + (
                greatest(least(v.meter_hours::DOUBLE, c.high) - c.low, 0) * c.clock_per_hour
            )::DECIMAL(14, 2)
        ) / 1000)::DECIMAL(12, 5) AS x
    FROM visits AS v
    INNER JOIN spell_seasons AS c ON v.spell_no = c.spell_no
)

SELECT
    r.visit,
    r.season,
    r.x::DOUBLE AS x
FROM run_so_far AS r
WHERE r.x > 0
ORDER BY r.machine, r.reading_day, r.visit, r.season_no
