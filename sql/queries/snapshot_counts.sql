-- Weeks of sets: hours run while in place, and pieces replaced, once for each failure mode of the
-- part type (broken, where it has none). Where a place is looked at now and then, and a look that
-- changes nothing is written down too, what ran since the last look stands by itself: replaced is
-- NULL there, since nobody knows yet.
WITH said AS (
    SELECT
        c.machine,
        r.place,
        c.quantity,
        moment(c.taken_at, c.whole_day, 2) AS moment
    FROM change_outs AS c
    INNER JOIN resolved AS r
        ON
            c.machine = r.machine
            AND r.said_place IS NOT DISTINCT FROM c.place
            AND r.said_type IS NOT DISTINCT FROM c.part_type
            AND r.kit IS NOT DISTINCT FROM c.kit
    CROSS JOIN until_day AS u
    WHERE r.is_set AND c.taken_at < u.last_moment
),

looks AS (
    SELECT
        a.machine,
        a.place,
        max(a.moment) AS moment
    FROM said AS a
    SEMI JOIN (SELECT n.place FROM said AS n WHERE n.quantity = 0) AS n ON a.place = n.place
    GROUP BY a.machine, a.place
),

stretches AS (
    SELECT
        s.piece,
        s.machine,
        s.part_type,
        s.meter_clock,
        s.clock_per_hour,
        TRUE AS looked,
        s.start_moment,
        least(s.stop_moment, k.moment) AS stop_moment
    FROM spells AS s
    LEFT JOIN looks AS k ON s.machine = k.machine AND s.place = k.place
    WHERE s.is_set AND s.start_moment < coalesce(k.moment, s.stop_moment)
    UNION ALL
    SELECT
        s.piece,
        s.machine,
        s.part_type,
        s.meter_clock,
        s.clock_per_hour,
        FALSE AS looked,
        greatest(s.start_moment, k.moment) AS start_moment,
        s.stop_moment
    FROM spells AS s
    INNER JOIN looks AS k ON s.machine = k.machine AND s.place = k.place
    WHERE s.is_set AND s.stop_moment > k.moment
),

run_days AS (
    SELECT
        s.piece AS unit,
        s.machine,
        s.part_type,
        s.looked,
        CASE
            WHEN s.looked THEN date_trunc('week', m.run_date)::DATE
            ELSE greatest(date_trunc('week', m.run_date)::DATE, s.start_moment::DATE + 1)
        END AS week_day,
        (m.hours * greatest(
            epoch(
                least(s.stop_moment, m.run_date::TIMESTAMP + INTERVAL 1 DAY)
                - greatest(s.start_moment, m.run_date::TIMESTAMP)
            ) / 86400, 0
        ) * s.clock_per_hour)::DECIMAL(12, 4) AS hours
    FROM stretches AS s
    INNER JOIN meter AS m
        ON
            s.machine = m.machine
            AND s.meter_clock = m.clock
            AND m.run_date >= s.start_moment::DATE
            AND m.run_date <= s.stop_moment::DATE
    ANTI JOIN (SELECT q.* FROM silent_machine AS q WHERE q.acts) AS q ON s.machine = q.machine
    WHERE m.hours > 0
),

run_weeks AS (
    SELECT
        r.unit,
        r.machine,
        r.part_type,
        r.week_day,
        bool_and(r.looked) AS looked,
        sum(r.hours) AS hours
    FROM run_days AS r
    GROUP BY r.unit, r.machine, r.part_type, r.week_day
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
    b.others::BIGINT AS others,
    u.first_age::DOUBLE AS start_age,
    CASE
        WHEN b.unit = concat_ws(' ', b.machine, u.place, b.part_type) THEN '' ELSE b.unit
    END AS kit,
    coalesce(r.hours, 0)::DOUBLE AS hours,
    CASE WHEN coalesce(r.looked, TRUE) THEN b.replaced END::DOUBLE AS replaced
FROM by_mode AS b
INNER JOIN units AS u ON b.unit = u.unit
LEFT JOIN run_weeks AS r
    ON
        b.unit = r.unit
        AND b.machine = r.machine
        AND b.part_type = r.part_type
        AND b.week_day = r.week_day
ORDER BY b.part_type, b.unit, b.week_day, b.machine, b.mode
