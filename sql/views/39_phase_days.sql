-- The phase (raw material, cleaning regime) of each machine on each day, run or planned, where
-- `running` names one: by the machine's own row before its line's, before that of all (*). Of
-- several phases on one day the one with most hours counts.
CREATE OR REPLACE TEMP TABLE phase_days AS
WITH machines AS (
    SELECT
        p.machine,
        min(p.line) AS line
    FROM places AS p
    GROUP BY p.machine
),

named AS (
    SELECT
        r.machine,
        r.plant_line,
        r.run_date,
        r.phase,
        CASE
            WHEN coalesce(r.machine, '*') <> '*' THEN 1
            WHEN coalesce(r.plant_line, '*') <> '*' THEN 2
            ELSE 3
        END AS told_by,
        sum(r.running_hours) AS hours
    FROM running AS r
    WHERE r.phase IS NOT NULL AND r.running_hours > 0
    GROUP BY ALL
)

SELECT
    m.machine,
    n.run_date,
    n.phase
FROM named AS n
INNER JOIN machines AS m
    ON
        CASE n.told_by
            WHEN 1 THEN n.machine = m.machine
            WHEN 2 THEN n.plant_line = m.line
            ELSE TRUE
        END
QUALIFY
    row_number() OVER (
        PARTITION BY m.machine, n.run_date ORDER BY n.told_by ASC, n.hours DESC, n.phase ASC
    ) = 1
ORDER BY m.machine, n.run_date
