-- Hours each machine ran on each day, then what `running` plans after the last known day.
WITH lines_of AS (
    SELECT
        p.machine,
        coalesce(min(p.line), '') AS line
    FROM places AS p
    GROUP BY p.machine
),

days AS (
    SELECT
        m.machine,
        m.run_date,
        m.hours,
        FALSE AS planned
    FROM meter AS m
    WHERE m.clock = 'hours' AND m.hours > 0
    UNION ALL
    SELECT
        r.machine,
        r.run_date,
        r.hours,
        TRUE AS planned
    FROM running_days AS r
    CROSS JOIN until_day AS u
    WHERE r.run_date > u.last_day
)

SELECT
    d.machine,
    l.line,
    d.run_date::TIMESTAMP AS day,
    d.hours::DOUBLE AS hours,
    d.planned
FROM days AS d
INNER JOIN lines_of AS l ON d.machine = l.machine
ORDER BY d.machine, d.run_date
