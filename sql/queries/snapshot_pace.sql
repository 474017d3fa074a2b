-- What the clock of each part type counts in an hour on each machine: from its meter, else stated.
WITH metered AS (
    SELECT
        c.machine,
        c.clock,
        sum(c.hours)::DOUBLE / nullif(sum(h.hours)::DOUBLE, 0) AS per_hour
    FROM counted_by_day AS c
    LEFT JOIN hours_by_day AS h ON c.machine = h.machine AND c.run_date = h.run_date
    GROUP BY c.machine, c.clock
)

SELECT
    p.machine,
    p.part_type,
    p.clock,
    m.machine IS NOT NULL AS metered,
    coalesce(min(m.per_hour), min(p.clock_per_hour)::DOUBLE) AS per_hour
FROM places AS p
LEFT JOIN metered AS m ON p.machine = m.machine AND p.clock = m.clock
GROUP BY p.machine, p.part_type, p.clock, m.machine
ORDER BY p.machine, p.part_type
