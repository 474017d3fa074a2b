-- Pieces replaced in sets, with the set's age (unknown where the set's is) and meter then: each
-- leaves a piece of age 0 in a set that goes on. by_failure is false where somebody chose the
-- piece (worn, planned).
CREATE OR REPLACE TEMP TABLE set_renewals AS
WITH s AS (SELECT * FROM spells WHERE is_set),

in_spell AS (
    SELECT
        c.unit,
        c.moment,
        c.replaced,
        c.mode <> '' AS by_failure,
        s.spell_no,
        s.machine,
        s.first_age,
        s.hours_in_earlier,
        s.meter_start,
        s.meter_stop,
        s.meter_clock,
        s.clock_per_hour
    FROM set_changes AS c
    ASOF INNER JOIN s ON c.unit = s.piece AND c.moment >= s.start_moment
),

metered AS (
    SELECT
        i.*,
        greatest(i.meter_start, least(i.meter_stop, (
            m.hours_before
            + m.hours * epoch(i.moment - i.moment::DATE::TIMESTAMP) / 86400
        )::DECIMAL(14, 2))) AS meter_hours
    FROM in_spell AS i
    CROSS JOIN meter_days AS d
    INNER JOIN meter AS m
        ON
            i.machine = m.machine
            AND i.meter_clock = m.clock
            AND m.run_date = greatest(d.first_day, least(i.moment::DATE, d.final_day))
)

SELECT
    m.unit,
    m.moment,
    m.spell_no,
    m.replaced,
    m.by_failure,
    m.meter_hours,
    (
        m.first_age + m.hours_in_earlier + (m.meter_hours - m.meter_start) * m.clock_per_hour
    )::DECIMAL(12, 2) AS age
FROM metered AS m
ORDER BY m.unit, m.moment, m.by_failure
