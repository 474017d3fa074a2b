-- No log tells what a machine ran in a span of its watch in which the others ran a day or more, or
-- what its clock of cycles, metres or tonnes counts in an hour.
-- Default: as logged (it stood then; where nothing at all is told, ages are unknown).
CREATE OR REPLACE TEMP TABLE no_hours AS
WITH watched AS (
    SELECT
        p.machine,
        min(p.first_moment)::DATE AS first_day,
        max(coalesce(p.end_moment, u.last_moment))::DATE AS final_day
    FROM places AS p
    CROSS JOIN until_day AS u
    WHERE p.first_moment < u.last_moment
    GROUP BY p.machine
),

told AS (
    SELECT
        h.machine,
        min(h.run_date) AS first_told,
        max(h.run_date) AS last_told
    FROM hours_by_day AS h
    GROUP BY h.machine
),

others AS (
    SELECT
        h.run_date,
        median(h.hours)::DECIMAL(12, 4) AS hours
    FROM hours_by_day AS h
    GROUP BY h.run_date
),

gaps AS (
    SELECT
        w.machine,
        unnest(
            CASE
                WHEN t.machine IS NULL THEN [w.first_day]
                ELSE [w.first_day, greatest(w.first_day, t.last_told + 1)]
            END
        ) AS gap_from,
        unnest(
            CASE
                WHEN t.machine IS NULL THEN [w.final_day - 1]
                ELSE [least(w.final_day, t.first_told) - 1, w.final_day - 1]
            END
        ) AS gap_until,
        t.machine IS NULL AS nothing_told
    FROM watched AS w
    LEFT JOIN told AS t ON w.machine = t.machine
),

untold AS (
    SELECT
        g.machine,
        g.gap_from,
        g.gap_until,
        g.nothing_told,
        coalesce(sum(o.hours), 0) AS hours
    FROM gaps AS g
    LEFT JOIN others AS o ON o.run_date BETWEEN g.gap_from AND g.gap_until
    WHERE g.gap_from <= g.gap_until
    GROUP BY g.machine, g.gap_from, g.gap_until, g.nothing_told
    HAVING g.nothing_told OR coalesce(sum(o.hours), 0) >= 24
),

uncounted AS (
    SELECT DISTINCT
        p.machine,
        p.part_type,
        l.clock,
        p.first_moment
    FROM places AS p
    INNER JOIN limits AS l ON p.part_type = l.part_type
    ANTI JOIN counted_by_day AS c ON p.machine = c.machine AND l.clock = c.clock
    WHERE l.clock <> 'hours' AND p.clock_per_hour IS NULL
),

found AS (
    SELECT
        u.machine,
        NULL::VARCHAR AS part_type,
        u.gap_from::TIMESTAMP AS taken_at,
        CASE
            WHEN u.nothing_told
                THEN printf(
                    'neither clocks nor running tell its hours from %s to %s',
                    u.gap_from::VARCHAR, u.gap_until::VARCHAR
                )
            ELSE printf(
                'no log tells its hours from %s to %s, when others ran %.0f h',
                u.gap_from::VARCHAR, u.gap_until::VARCHAR, u.hours
            )
        END AS what,
        'log its hours, or 0 where it stood' AS proposal,
        u.gap_from::VARCHAR AS span
    FROM untold AS u
    UNION ALL
    SELECT
        c.machine,
        c.part_type,
        c.first_moment AS taken_at,
        printf('no meter counts its %s, and no clock_per_hour is stated', c.clock) AS what,
        'log the meter, or state clock_per_hour in the fleet' AS proposal,
        c.clock AS span
    FROM uncounted AS c
),

named AS (
    SELECT
        f.*,
        doubt_id('no hours', concat_ws('|', f.machine, f.part_type), f.span) AS id
    FROM found AS f
)

SELECT
    n.id,
    'no hours' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    n.part_type,
    n.taken_at,
    n.what,
    n.proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.taken_at, n.id
