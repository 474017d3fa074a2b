-- One row a piece of known age whose machine logs every job: how long it lived, from which age
-- on it was watched, and what ended it. A change-out that was not logged ends a life somewhere
-- between the two readings around it: an interval without a mode, since its reason is unknown.
-- Pieces of silent machines are left out while that doubt acts.
WITH ends AS (
    SELECT
        p.*,
        CASE
            WHEN p.end_from IS NULL THEN p.age
            ELSE greatest(
                p.first_age,
                p.first_age + p.hours_in_earlier + (
                    m.hours_before
                    + m.hours * epoch(p.end_from - p.end_from::DATE::TIMESTAMP) / 86400
                    - p.meter_start
                )::DECIMAL(14, 2) * p.clock_per_hour
            )
        END::DECIMAL(12, 2) AS lower_age
    FROM pieces AS p
    CROSS JOIN meter_days AS d
    LEFT JOIN meter AS m
        ON
            p.machine = m.machine
            AND p.meter_clock = m.clock
            AND m.run_date = greatest(d.first_day, least(p.end_from::DATE, d.final_day))
    ANTI JOIN (SELECT s.* FROM silent_machine AS s WHERE s.acts) AS s ON p.machine = s.machine
    WHERE NOT p.is_set AND p.lives_logged AND p.first_age IS NOT NULL AND p.age IS NOT NULL
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
        WHEN s.mode <> '' THEN greatest(s.age, s.life_from)::DOUBLE
        WHEN s.ended_by = 'unlogged' THEN greatest(s.age, s.life_from)::DOUBLE
        ELSE 'infinity'::DOUBLE
    END AS upper
FROM spans AS s
LEFT JOIN limits AS l ON s.part_type = l.part_type
WHERE s.life_from > s.first_age
ORDER BY s.machine, s.place, try_cast(s.position AS INTEGER), s.position, s.start_moment, s.piece
