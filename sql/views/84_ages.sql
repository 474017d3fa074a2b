-- How the age of each piece and set was got, on its part type's clock: what was stated when it was
-- fitted, what a meter counted, what hours told by `running` (or turned into its clock) add, and
-- what an unlogged change of the meter left to a guess. The parts add up to the age.
CREATE OR REPLACE TEMP TABLE ages AS
WITH ends AS (
    SELECT
        s.piece,
        s.machine,
        s.part_type,
        s.stay_no,
        s.begun_by,
        s.first_age,
        s.hours,
        s.meter_clock,
        s.clock_per_hour,
        s.meter_start,
        s.meter_stop,
        unnest([s.start_moment, s.stop_moment]) AS moment,
        unnest([-1, 1]) AS sense
    FROM spells AS s
),

metered AS (
    SELECT
        m.machine,
        m.clock,
        m.run_date,
        m.metered_before::DOUBLE AS metered_before,
        m.guessed_before::DOUBLE AS guessed_before,
        coalesce(lead(m.metered_before) OVER in_time - m.metered_before, 0)::DOUBLE AS metered,
        coalesce(lead(m.guessed_before) OVER in_time - m.guessed_before, 0)::DOUBLE AS guessed
    FROM meter AS m
    WINDOW in_time AS (PARTITION BY m.machine, m.clock ORDER BY m.run_date)
),

stays AS (
    SELECT
        e.piece,
        e.machine,
        e.part_type,
        e.stay_no,
        e.meter_clock,
        min(e.begun_by) AS begun_by,
        min(e.first_age)::DOUBLE AS first_age,
        min(e.hours)::DOUBLE AS ran,
        min(e.clock_per_hour)::DOUBLE AS clock_per_hour,
        sum(e.sense * (
            m.metered_before + m.metered * epoch(e.moment - e.moment::DATE::TIMESTAMP) / 86400
        )) * min(e.clock_per_hour)::DOUBLE AS metered,
        sum(e.sense * (
            m.guessed_before + m.guessed * epoch(e.moment - e.moment::DATE::TIMESTAMP) / 86400
        )) * min(e.clock_per_hour)::DOUBLE AS guessed
    FROM ends AS e
    CROSS JOIN meter_days AS d
    INNER JOIN metered AS m
        ON
            e.machine = m.machine
            AND e.meter_clock = m.clock
            AND m.run_date = greatest(d.first_day, least(e.moment::DATE, d.final_day))
    GROUP BY e.piece, e.machine, e.part_type, e.stay_no, e.meter_clock
),

added AS (
    SELECT
        s.piece,
        max_by(s.machine, s.stay_no) AS machine,
        max_by(s.part_type, s.stay_no) AS part_type,
        min_by(s.begun_by, s.stay_no) AS begun_by,
        bool_and(s.ran IS NOT NULL) AS is_told,
        bool_or(s.meter_clock <> 'hours') AS own_meter,
        bool_or(s.clock_per_hour <> 1) AS is_turned,
        min_by(s.first_age, s.stay_no) FILTER (s.first_age IS NOT NULL) AS stated,
        sum(s.ran) AS ran,
        sum(s.metered) AS metered,
        sum(s.guessed) AS guessed
    FROM stays AS s
    GROUP BY s.piece
),

parts AS (
    SELECT
        a.*,
        CASE WHEN a.is_told THEN greatest(a.ran - a.metered - a.guessed, 0) END AS told
    FROM added AS a
)

SELECT
    p.piece,
    p.machine,
    p.part_type,
    p.stated::DECIMAL(12, 2) AS stated,
    CASE WHEN p.is_told THEN p.metered END::DECIMAL(12, 2) AS metered,
    p.told::DECIMAL(12, 2) AS told,
    CASE WHEN p.is_told THEN p.guessed END::DECIMAL(12, 2) AS guessed,
    concat_ws(
        ', ',
        CASE
            WHEN p.stated IS NULL THEN 'start age unknown'
            WHEN p.stated > 0 THEN 'start age stated'
        END,
        CASE WHEN p.begun_by = 'unlogged' THEN 'from a change-out nobody logged' END,
        CASE
            WHEN NOT p.is_told THEN 'nothing tells how long it ran'
            WHEN p.metered > 0.05 AND p.is_turned THEN 'hour meter x clock_per_hour'
            WHEN p.metered > 0.05 THEN 'meter'
        END,
        CASE
            WHEN p.told > 0.05 AND p.own_meter THEN 'running hours at the pace of the meter'
            WHEN p.told > 0.05 AND p.is_turned THEN 'running hours x clock_per_hour'
            WHEN p.told > 0.05 THEN 'running'
        END,
        CASE WHEN p.guessed > 0.05 THEN 'the rate around an unlogged change of the meter' END
    ) AS age_from
FROM parts AS p
ORDER BY p.piece
