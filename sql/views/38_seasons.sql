-- Islands of days on which any machine ran an hour or more; more than 28 days without end one.
-- Named by the year of the first day, with a number if the year has several.
CREATE OR REPLACE TEMP TABLE seasons AS
WITH run_days AS (
    SELECT DISTINCT h.run_date
    FROM hours_by_day AS h
    WHERE h.hours >= 1
),

begun AS (
    SELECT
        d.run_date,
        coalesce(
            d.run_date - lag(d.run_date) OVER (ORDER BY d.run_date) > 28, TRUE
        ) AS begins
    FROM run_days AS d
),

numbered AS (
    SELECT
        b.run_date,
        sum(b.begins::INTEGER) OVER (ORDER BY b.run_date) AS season_no
    FROM begun AS b
),

spans AS (
    SELECT
        n.season_no,
        min(n.run_date) AS first_day,
        max(n.run_date) AS last_day
    FROM numbered AS n
    GROUP BY n.season_no
),

in_year AS (
    SELECT
        s.*,
        year(s.first_day)::VARCHAR AS year_name,
        row_number() OVER (PARTITION BY year(s.first_day) ORDER BY s.first_day) AS year_no
    FROM spans AS s
)

SELECT
    y.season_no::INTEGER AS season_no,
    CASE WHEN y.year_no = 1 THEN y.year_name ELSE concat(y.year_name, '-', y.year_no) END
        AS season,
    y.first_day,
    y.last_day
FROM in_year AS y
ORDER BY y.season_no
