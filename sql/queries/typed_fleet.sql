-- Casts the rows of fleet at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_time(s.from_day) AS m_from_day,
        read_time(s.until_day) AS m_until_day,
        read_number(s.start_state) AS m_start_state,
        read_number(s.pressure_mpa) AS m_pressure_mpa,
        read_number(s.speed_m_s) AS m_speed_m_s,
        read_number(s.temperature_c) AS m_temperature_c,
        read_number(s.clock_per_hour) AS m_clock_per_hour,
        read_sized('shaft_mm', s.shaft_mm) AS m_shaft_mm,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        as_time(r.m_from_day)::DATE AS r_from_day,
        as_time(r.m_until_day)::DATE AS r_until_day,
        as_start('start_state', r.start_state, r.m_start_state) AS r_start_state,
        as_word('logged', r.logged) AS r_logged,
        as_word('serialised', r.serialised) AS r_serialised,
        as_word('past_policy', r.past_policy) AS r_past_policy,
        in_span('pressure_mpa', r.m_pressure_mpa)::DECIMAL(12, 6) AS r_pressure_mpa,
        in_span('speed_m_s', r.m_speed_m_s)::DECIMAL(12, 6) AS r_speed_m_s,
        in_span('temperature_c', r.m_temperature_c)::DECIMAL(12, 6) AS r_temperature_c,
        in_span('clock_per_hour', r.m_clock_per_hour)::DECIMAL(14, 6) AS r_clock_per_hour,
        in_span('shaft_mm', r.m_shaft_mm)::DECIMAL(12, 6) AS r_shaft_mm,
        as_event(r.m_reported_at) AS r_reported_at
    FROM read_once AS r
),

checked AS (
    SELECT
        c.*,
        CASE
            WHEN c.more1 IS NOT NULL THEN 'too many cells'
        END AS row_fault
    FROM cast_once AS c
)

SELECT
    c.row_no,
    c.file_line,
    c.r_reported_at AS reported_at,
    c.plant,
    c.note,
    c.extra,
    c.machine,
    c.part_type,
    c.positions,
    c.plant_line,
    c.place,
    c.r_from_day AS from_day,
    c.r_until_day AS until_day,
    c.r_start_state AS start_state,
    c.r_logged AS logged,
    c.r_serialised AS serialised,
    c.r_past_policy AS past_policy,
    c.kit,
    c.zone,
    c.r_pressure_mpa AS pressure_mpa,
    c.r_speed_m_s AS speed_m_s,
    c.r_temperature_c AS temperature_c,
    c.medium,
    c.duty_group,
    c.r_clock_per_hour AS clock_per_hour,
    c.r_shaft_mm AS shaft_mm,
    c.row_fault,
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    c.row_fault IS NOT NULL
    OR c.machine IS NULL
    OR c.part_type IS NULL
    OR c.positions IS NULL
    OR refused(c.from_day, c.r_from_day)
    OR refused(c.until_day, c.r_until_day)
    OR refused(c.start_state, c.r_start_state)
    OR refused(c.logged, c.r_logged)
    OR refused(c.serialised, c.r_serialised)
    OR refused(c.past_policy, c.r_past_policy)
    OR refused(c.pressure_mpa, c.r_pressure_mpa)
    OR refused(c.speed_m_s, c.r_speed_m_s)
    OR refused(c.temperature_c, c.r_temperature_c)
    OR refused(c.clock_per_hour, c.r_clock_per_hour)
    OR refused(c.shaft_mm, c.r_shaft_mm)
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
