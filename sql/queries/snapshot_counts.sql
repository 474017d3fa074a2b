-- Weeks of sets: hours run while in place, and pieces replaced, once for each failure mode of the
-- part type (broken, where it has none).
WITH run_days AS (
    SELECT
        s.piece AS unit,
        s.machine,
        s.part_type,
        m.run_date,
        (m.hours * greatest(
            epoch(
                least(s.stop_moment, m.run_date::TIMESTAMP + INTERVAL 1 DAY)
                - greatest(s.start_moment, m.run_date::TIMESTAMP)
            ) / 86400, 0
        ) * s.clock_per_hour)::DECIMAL(12, 4) AS hours
    FROM spells AS s
    INNER JOIN meter AS m
        ON
            s.machine = m.machine
            AND s.meter_clock = m.clock
            AND m.run_date >= s.start_moment::DATE
            AND m.run_date <= s.stop_moment::DATE
    ANTI JOIN (SELECT q.* FROM silent_machine AS q WHERE q.acts) AS q ON s.machine = q.machine
    WHERE s.is_set AND m.hours > 0
),

run_weeks AS (
    SELECT
        r.unit,
        r.machine,
        r.part_type,
        date_trunc('week', r.run_date)::DATE AS week_day,
        sum(r.hours) AS hours
    FROM run_days AS r
    GROUP BY ALL
),

weeks AS (
    SELECT
        r.unit,
        r.machine,
        r.part_type,
        r.week_day
    FROM run_weeks AS r
    WHERE r.hours > 0
    UNION
    SELECT
        c.unit,
        c.machine,
        c.part_type,
        c.week_day
    FROM set_changes AS c
),

modes AS (
    SELECT DISTINCT
        w.part_type,
        coalesce(c.mode, 'broken') AS mode
    FROM weeks AS w
    LEFT JOIN set_changes AS c ON w.part_type = c.part_type AND c.mode <> ''
),

units AS (
    SELECT
        s.piece AS unit,
        max(s.quantity) AS quantity,
        min_by(s.duty_group, s.stay_no) AS duty_group,
        min_by(s.place, s.stay_no) AS place,
        min_by(s.first_age, s.stay_no) FILTER (s.first_age IS NOT NULL) AS first_age
    FROM spells AS s
    WHERE s.is_set
    GROUP BY s.piece
),

replaced AS (
    SELECT
        c.unit,
        c.machine,
        c.part_type,
        c.week_day,
        c.mode,
        sum(c.replaced) AS replaced
    FROM set_changes AS c
    GROUP BY ALL
),

by_mode AS (
    SELECT
        w.unit,
        w.machine,
        w.part_type,
        w.week_day,
        m.mode,
        coalesce(sum(r.replaced) FILTER (r.mode = m.mode), 0) AS replaced,
        coalesce(sum(r.replaced) FILTER (r.mode <> m.mode), 0) AS others
    FROM weeks AS w
    INNER JOIN modes AS m ON w.part_type = m.part_type
    LEFT JOIN replaced AS r
        ON
            w.unit = r.unit
            AND w.machine = r.machine
            AND w.part_type = r.part_type
            AND w.week_day = r.week_day
    GROUP BY w.unit, w.machine, w.part_type, w.week_day, m.mode
)

SELECT
    b.unit,
    b.machine,
    b.part_type,
    u.duty_group,
    b.week_day::TIMESTAMP AS week,
    u.quantity::BIGINT AS positions,
    b.mode,
    b.replaced::BIGINT AS replaced,
    b.others::BIGINT AS others,
    u.first_age::DOUBLE AS start_age,
    CASE
        WHEN b.unit = concat_ws(' ', b.machine, u.place, b.part_type) THEN '' ELSE b.unit
    END AS kit,
    coalesce(r.hours, 0)::DOUBLE AS hours
FROM by_mode AS b
INNER JOIN units AS u ON b.unit = u.unit
LEFT JOIN run_weeks AS r
    ON
        b.unit = r.unit
        AND b.machine = r.machine
        AND b.part_type = r.part_type
        AND b.week_day = r.week_day
ORDER BY b.part_type, b.unit, b.week_day, b.machine, b.mode
