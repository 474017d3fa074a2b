-- Readings that do not say how their pieces were chosen are more worn for their age than random or
-- full readings on the same machines: the worst were read first, and the fleet would look worse
-- than it is.
-- Default: as logged (they count).
CREATE OR REPLACE TEMP TABLE worst_first AS
WITH rated AS (
    SELECT
        a.machine,
        a.part_type,
        a.duty_group,
        a.chosen IN ('all', 'random', 'rotation') AS is_told,
        (a.wear_mm / a.age)::DECIMAL(18, 10) AS rate
    FROM aged AS a
    WHERE a.age > 0 AND NOT a.is_suspect
),

by_machine AS (
    SELECT
        r.part_type,
        r.duty_group,
        r.machine,
        avg(r.rate) FILTER (NOT coalesce(r.is_told, FALSE)) AS untold,
        avg(r.rate) FILTER (r.is_told) AS told
    FROM rated AS r
    GROUP BY r.part_type, r.duty_group, r.machine
    HAVING
        count(*) FILTER (NOT coalesce(r.is_told, FALSE)) >= 3 AND count(*) FILTER (r.is_told) >= 3
),

ratios AS (
    SELECT
        m.part_type,
        m.duty_group,
        count(*) AS machines,
        avg(ln(m.untold / m.told)::DECIMAL(12, 8)) AS mean_log,
        avg((ln(m.untold / m.told) * ln(m.untold / m.told))::DECIMAL(12, 8)) AS mean_square
    FROM by_machine AS m
    WHERE m.untold > 0 AND m.told > 0
    GROUP BY m.part_type, m.duty_group
    HAVING count(*) >= 4
),

tested AS (
    SELECT
        r.*,
        r.mean_log / sqrt(
            greatest(r.mean_square - r.mean_log * r.mean_log, 1e-8) / (r.machines - 1)
        ) AS t
    FROM ratios AS r
),

named AS (
    SELECT
        t.*,
        doubt_id('worst first', concat_ws('|', t.part_type, t.duty_group), '') AS id
    FROM tested AS t
    -- one-sided 1 % points of Student's t, coarsely: 4.54 at 3, 2.82 at 9, 2.42 at 40
    WHERE t.mean_log > 0.05 AND t.t > 2.3 + 6.7 / (t.machines - 1)
)

SELECT
    n.id,
    'worst first' AS rule,
    NULL::VARCHAR AS machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    n.part_type,
    NULL::TIMESTAMP AS taken_at,
    printf(
        'on %d machines readings of pieces chosen nobody knows how show %.2f times the wear',
        n.machines, exp(n.mean_log)
    ) AS what,
    'mark them `suspect` and import them again: they then serve their own position only'
        AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.part_type, n.id
