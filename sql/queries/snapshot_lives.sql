-- One row a piece of known age whose machine logs every job: how long it lived, from which age
-- on it was watched, and what ended it. A change-out that was not logged ends a life somewhere
-- between the two readings around it (or on the day that somebody settled): without a mode, since
-- its reason is unknown. ended says whether a change-out ended it, and whether that was logged.
-- Pieces of silent machines are left out while that doubt acts.
WITH standing AS (
    SELECT p.*
    FROM pieces AS p
    ANTI JOIN (SELECT s.* FROM silent_machine AS s WHERE s.acts) AS s ON p.machine = s.machine
    WHERE NOT p.is_set AND p.lives_logged AND p.first_age IS NOT NULL AND p.age IS NOT NULL
),

edges AS (
    SELECT
        s.spell_no,
        s.end_from AS moment,
        'from' AS edge
    FROM standing AS s
    WHERE s.end_from IS NOT NULL
    UNION ALL
    SELECT
        s.spell_no,
        s.end_until AS moment,
        'until' AS edge
    FROM standing AS s
    WHERE s.end_until IS NOT NULL
),

edges_aged AS (
    SELECT
        e.spell_no,
        e.edge,
        greatest(
            s.first_age,
            s.first_age + s.hours_in_earlier + (
                m.hours_before
                + m.hours * epoch(e.moment - e.moment::DATE::TIMESTAMP) / 86400
                - s.meter_start
            )::DECIMAL(14, 2) * s.clock_per_hour
        )::DECIMAL(12, 2) AS age
    FROM edges AS e
    INNER JOIN standing AS s ON e.spell_no = s.spell_no
    CROSS JOIN meter_days AS d
    INNER JOIN meter AS m
        ON
            s.machine = m.machine
            AND s.meter_clock = m.clock
            AND m.run_date = greatest(d.first_day, least(e.moment::DATE, d.final_day))
),

edge_ages AS (
    SELECT
        e.spell_no,
        max(e.age) FILTER (e.edge = 'from') AS lower_age,
        max(e.age) FILTER (e.edge = 'until') AS upper_age
    FROM edges_aged AS e
    GROUP BY e.spell_no
),

ends AS (
    SELECT
        s.*,
        coalesce(e.lower_age, s.age) AS lower_age,
        coalesce(e.upper_age, s.age) AS upper_age
    FROM standing AS s
    LEFT JOIN edge_ages AS e ON s.spell_no = e.spell_no
),

spans AS (
    SELECT
        e.*,
        CASE
            WHEN e.mode = '' OR e.lower_age > e.first_age THEN e.lower_age
            ELSE e.first_age + 0.5
        END AS life_from
    FROM ends AS e
)

SELECT
    s.piece,
    s.machine,
    s.part_type,
    s.duty_group,
    s.life_from::DOUBLE AS lower,
    s.first_age::DOUBLE AS entry,
    1.0::DOUBLE AS weight,
    s.mode,
    coalesce(l.grade, '') AS grade,
    CASE
        WHEN s.mode <> '' OR s.ended_by = 'unlogged'
            THEN greatest(s.upper_age, s.life_from)::DOUBLE
        ELSE 'infinity'::DOUBLE
    END AS upper,
    CASE
        WHEN s.ended_by = 'unlogged' THEN 'unlogged'
        WHEN s.end_moment IS NULL OR s.ended_by IN ('moved', 'watch ended') THEN ''
        ELSE 'logged'
    END AS ended
FROM spans AS s
LEFT JOIN limits AS l ON s.part_type = l.part_type
WHERE s.life_from > s.first_age OR (s.ended_by = 'unlogged' AND s.upper_age > s.first_age)
ORDER BY s.machine, s.place, try_cast(s.position AS INTEGER), s.position, s.start_moment, s.piece
