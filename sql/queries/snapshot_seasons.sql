-- The spans in which the machines ran, oldest first.
SELECT
    s.season,
    s.first_day::TIMESTAMP AS first_day,
    s.last_day::TIMESTAMP AS last_day
FROM seasons AS s
ORDER BY s.season_no
