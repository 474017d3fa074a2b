-- Hours run by each machine up to the beginning of each day, and on it; from the day before the
-- first known hour to the day after the last known day, without gaps.
CREATE OR REPLACE TEMP TABLE meter AS
WITH bounds AS (
    SELECT
        coalesce(min(h.run_date), min(u.last_day)) - 1 AS first_day,
        min(u.last_day) + 1 AS final_day
    FROM until_day AS u
    LEFT JOIN hours_by_day AS h ON h.hours > 0
),

days AS (
    SELECT
        unnest(generate_series(
            b.first_day::TIMESTAMP, b.final_day::TIMESTAMP, INTERVAL 1 DAY
        ))::DATE AS run_date
    FROM bounds AS b
),

machines AS (
    SELECT DISTINCT p.machine
    FROM places AS p
)

SELECT
    m.machine,
    d.run_date,
    coalesce(h.hours, 0)::DECIMAL(12, 4) AS hours,
    coalesce(sum(h.hours) OVER (
        PARTITION BY m.machine ORDER BY d.run_date
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ), 0)::DECIMAL(14, 4) AS hours_before
FROM machines AS m
CROSS JOIN days AS d
LEFT JOIN hours_by_day AS h ON m.machine = h.machine AND d.run_date = h.run_date
ORDER BY m.machine, d.run_date
