-- What each machine ran up to the beginning of each day, and on it, on the clock of hours and on
-- each other clock that it has a meter of; from the day before the first known hour to the day
-- after the last known day, without gaps. metered_before and guessed_before are parts of
-- hours_before.
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
    SELECT
        p.machine,
        'hours' AS clock
    FROM places AS p
    UNION
    SELECT
        c.machine,
        c.clock
    FROM counted_by_day AS c
),

told AS (
    SELECT
        h.machine,
        'hours' AS clock,
        h.run_date,
        h.hours,
        h.metered,
        h.guessed
    FROM hours_by_day AS h
    UNION ALL
    SELECT
        c.machine,
        c.clock,
        c.run_date,
        c.hours,
        c.metered,
        c.guessed
    FROM counted_by_day AS c
)

SELECT
    m.machine,
    m.clock,
    d.run_date,
    coalesce(h.hours, 0)::DECIMAL(14, 4) AS hours,
    coalesce(sum(h.hours) OVER earlier, 0)::DECIMAL(18, 4) AS hours_before,
    coalesce(sum(h.metered) OVER earlier, 0)::DECIMAL(18, 4) AS metered_before,
    coalesce(sum(h.guessed) OVER earlier, 0)::DECIMAL(18, 4) AS guessed_before
FROM machines AS m
CROSS JOIN days AS d
LEFT JOIN told AS h ON m.machine = h.machine AND m.clock = h.clock AND d.run_date = h.run_date
WINDOW
    earlier AS (
        PARTITION BY m.machine, m.clock ORDER BY d.run_date
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    )
ORDER BY m.machine, m.clock, d.run_date
