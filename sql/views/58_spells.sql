-- A spell is one piece in one position, or one set in one place, from fitting to removal. A piece
-- is known by the name the logs give it, else by its place and number; the second side of a turned
-- piece is a piece of its own here. stop_moment is the end, or the end of the last known day. Hours
-- are on the part type's clock: from its own meter (meter_clock) where the machine has one, else
-- running hours times clock_per_hour; unknown where no log tells them.
CREATE OR REPLACE TEMP TABLE spells AS
WITH numbered AS (
    SELECT
        e.*,
        count(*) FILTER (e.action IN ('watched', 'fitted', 'replaced', 'unlogged')) OVER so_far
            AS piece_no,
        last_value(e.part_type IGNORE NULLS) OVER so_far AS known_type
    FROM slot_events AS e
    WINDOW so_far AS (
        PARTITION BY e.machine, e.place, e.position ORDER BY e.moment, e.action
        ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
    )
),

sided AS (
    SELECT
        n.*,
        count(*) FILTER (n.action = 'turned') OVER of_piece AS turns,
        first_value(n.piece IGNORE NULLS) OVER of_piece AS given_name,
        first_value(n.fitted_mm IGNORE NULLS) OVER of_piece AS piece_mm,
        n.moment_from AS begun_from,
        lead(n.moment) OVER of_slot AS end_moment,
        lead(n.moment_from) OVER of_slot AS end_from,
        lead(n.moment_until) OVER of_slot AS end_until,
        lead(n.action) OVER of_slot AS ended_by,
        lead(n.reason) OVER of_slot AS end_reason
    FROM numbered AS n
    WINDOW
        of_piece AS (
            PARTITION BY n.machine, n.place, n.position, n.piece_no ORDER BY n.moment, n.action
            ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ),
        of_slot AS (
            PARTITION BY n.machine, n.place, n.position ORDER BY n.moment, n.action
        )
),

pieces_of_slots AS (
    SELECT
        s.machine,
        s.place,
        s.position,
        s.known_type AS part_type,
        coalesce(s.given_name, concat(s.machine, ' ', s.place, ' ', s.position, ' #', s.piece_no))
        || CASE WHEN s.turns > 0 THEN concat(' side ', s.turns + 1) ELSE '' END AS piece,
        FALSE AS is_set,
        1 AS quantity,
        s.action AS begun_by,
        s.moment AS start_moment,
        s.end_moment,
        s.end_from,
        s.end_until,
        s.ended_by,
        s.end_reason,
        s.begun_from,
        s.piece_mm AS fitted_mm,
        CASE
            WHEN s.action = 'watched' THEN s.age_at_fit
            WHEN s.action = 'turned' THEN 0
            ELSE coalesce(s.age_at_fit, 0)
        END AS stated_age
    FROM sided AS s
    WHERE s.action <> 'removed' AND s.piece_no > 0
),

set_stays AS (
    SELECT
        e.machine,
        e.place,
        '' AS position,
        e.part_type,
        e.unit AS piece,
        TRUE AS is_set,
        e.action AS begun_by,
        e.moment_from AS begun_from,
        e.moment AS start_moment,
        lead(e.moment) OVER of_place AS end_moment,
        lead(e.moment_from) OVER of_place AS end_from,
        lead(e.action) OVER of_place AS ended_by,
        lead(e.reason) OVER of_place AS end_reason,
        e.age_at_fit AS stated_age
    FROM set_events AS e
    WINDOW of_place AS (PARTITION BY e.machine, e.place ORDER BY e.moment, e.action, e.unit)
),

kit_ages AS (
    SELECT
        p.unit,
        min(p.start_age) AS start_age,
        max(p.quantity) AS quantity
    FROM places AS p
    WHERE p.is_set
    GROUP BY p.unit
),

set_sizes AS (
    SELECT
        p.machine,
        p.place,
        p.part_type,
        max(p.quantity) AS quantity
    FROM places AS p
    GROUP BY p.machine, p.place, p.part_type
),

stays AS (
    SELECT p.*
    FROM pieces_of_slots AS p
    UNION ALL BY NAME
    SELECT
        s.* REPLACE (coalesce(s.stated_age, k.start_age) AS stated_age),
        coalesce(z.quantity, 0) AS quantity
    FROM set_stays AS s
    LEFT JOIN kit_ages AS k ON s.piece = k.unit
    LEFT JOIN set_sizes AS z
        ON s.machine = z.machine AND s.place = z.place AND s.part_type = z.part_type
    WHERE s.begun_by <> 'removed'
),

watched AS (
    SELECT
        p.machine,
        p.place,
        p.part_type,
        max(coalesce(p.end_moment, TIMESTAMP '9999-12-31')) AS end_moment,
        min(p.duty_group) AS duty_group,
        bool_and(p.logged = 'every_job') AS lives_logged,
        min(p.past_policy) AS past_policy,
        min(p.line) AS line,
        min(p.shaft_mm) AS shaft_mm,
        min(p.clock_per_hour) AS clock_per_hour,
        min(p.clock) AS clock
    FROM places AS p
    GROUP BY p.machine, p.place, p.part_type
),

moved AS (
    SELECT
        o.machine,
        o.place,
        coalesce(o.position, '') AS position,
        o.start_moment,
        o.leaves_at
    FROM one_piece_in_two_places AS o
    WHERE o.acts
),

told_machines AS (
    SELECT DISTINCT h.machine
    FROM hours_by_day AS h
),

own_meters AS (
    SELECT DISTINCT
        c.machine,
        c.clock
    FROM counted_by_day AS c
),

bounded AS (
    SELECT
        s.* EXCLUDE (end_moment, end_from, end_until, ended_by),
        CASE WHEN m.leaves_at IS NULL THEN s.end_from END AS end_from,
        CASE WHEN m.leaves_at IS NULL THEN s.end_until END AS end_until,
        coalesce(w.duty_group, '') AS duty_group,
        coalesce(w.lives_logged, TRUE) AS lives_logged,
        w.past_policy,
        coalesce(w.line, '') AS line,
        w.shaft_mm,
        coalesce(o.clock, 'hours') AS meter_clock,
        CASE
            WHEN o.clock IS NOT NULL THEN 1
            WHEN t.machine IS NULL THEN NULL
            WHEN coalesce(w.clock, l.clock, 'hours') = 'hours' THEN 1
            ELSE w.clock_per_hour
        END::DECIMAL(14, 6) AS clock_per_hour,
        CASE
            WHEN m.leaves_at IS NOT NULL THEN m.leaves_at
            WHEN w.end_moment < coalesce(s.end_moment, u.last_moment) THEN w.end_moment
            ELSE s.end_moment
        END AS end_moment,
        CASE
            WHEN m.leaves_at IS NOT NULL THEN 'moved'
            WHEN w.end_moment < coalesce(s.end_moment, u.last_moment) THEN 'watch ended'
            ELSE s.ended_by
        END AS ended_by,
        least(
            coalesce(s.end_moment, u.last_moment), m.leaves_at, w.end_moment, u.last_moment
        ) AS stop_moment
    FROM stays AS s
    LEFT JOIN watched AS w
        ON s.machine = w.machine AND s.place = w.place AND s.part_type = w.part_type
    LEFT JOIN moved AS m
        ON
            s.machine = m.machine
            AND s.place = m.place
            AND s.position = m.position
            AND s.start_moment = m.start_moment
    LEFT JOIN limits AS l ON s.part_type = l.part_type
    LEFT JOIN told_machines AS t ON s.machine = t.machine
    LEFT JOIN own_meters AS o
        ON s.machine = o.machine AND coalesce(w.clock, l.clock, 'hours') = o.clock
    CROSS JOIN until_day AS u
),

on_meter AS (
    SELECT
        b.*,
        (
            f.hours_before
            + f.hours * epoch(b.start_moment - b.start_moment::DATE::TIMESTAMP) / 86400
        )::DECIMAL(14, 2) AS meter_start,
        (
            t.hours_before
            + t.hours * epoch(b.stop_moment - b.stop_moment::DATE::TIMESTAMP) / 86400
        )::DECIMAL(14, 2) AS meter_stop
    FROM bounded AS b
    CROSS JOIN meter_days AS d
    INNER JOIN meter AS f
        ON
            b.machine = f.machine
            AND b.meter_clock = f.clock
            AND f.run_date = greatest(d.first_day, least(b.start_moment::DATE, d.final_day))
    INNER JOIN meter AS t
        ON
            b.machine = t.machine
            AND b.meter_clock = t.clock
            AND t.run_date = greatest(d.first_day, least(b.stop_moment::DATE, d.final_day))
),

aged_spells AS (
    SELECT
        o.*,
        (greatest(o.meter_stop - o.meter_start, 0) * o.clock_per_hour)::DECIMAL(12, 2) AS hours
    FROM on_meter AS o
)

SELECT
    row_number() OVER (ORDER BY a.machine, a.place, a.position, a.start_moment, a.piece)
        AS spell_no,
    row_number() OVER of_piece AS stay_no,
    a.*,
    first_value(a.stated_age) OVER of_piece AS first_age,
    CASE
        WHEN coalesce(bool_and(a.hours IS NOT NULL) OVER earlier_stays, TRUE)
            THEN coalesce(sum(a.hours) OVER earlier_stays, 0)
    END::DECIMAL(12, 2) AS hours_in_earlier
FROM aged_spells AS a
WINDOW
    of_piece AS (
        PARTITION BY a.piece ORDER BY a.start_moment, a.machine, a.place, a.position
    ),
    earlier_stays AS (
        PARTITION BY a.piece ORDER BY a.start_moment, a.machine, a.place, a.position
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    )
ORDER BY spell_no
