-- Hours of each machine on each day that `running` tells: the machine's own row before its
-- line's, before that of all (*). Rows of one rank on one day (several phases) add up; no day has
-- more than 24 hours: told_hours is what the rows say.
CREATE OR REPLACE TEMP TABLE running_days AS
WITH machines AS (
    SELECT
        p.machine,
        min(p.line) AS line
    FROM places AS p
    GROUP BY p.machine
),

ranked AS (
    SELECT
        r.*,
        CASE
            WHEN coalesce(r.machine, '*') <> '*' THEN 1
            WHEN coalesce(r.plant_line, '*') <> '*' THEN 2
            ELSE 3
        END AS told_by
    FROM running AS r
),

told AS (
    SELECT
        m.machine,
        r.run_date,
        r.told_by,
        sum(r.running_hours) AS hours
    FROM ranked AS r
    INNER JOIN machines AS m
        ON
            CASE r.told_by
                WHEN 1 THEN r.machine = m.machine
                WHEN 2 THEN r.plant_line = m.line
                ELSE TRUE
            END
    GROUP BY m.machine, r.run_date, r.told_by
)

SELECT
    t.machine,
    t.run_date,
    least(t.hours, 24)::DECIMAL(12, 4) AS hours,
    t.hours::DECIMAL(12, 4) AS told_hours
FROM told AS t
QUALIFY row_number() OVER (PARTITION BY t.machine, t.run_date ORDER BY t.told_by) = 1
ORDER BY t.machine, t.run_date
