-- Casts the rows of readings at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_time(s.taken_at) AS m_taken_at,
        read_length(s.read_value, 1) AS m_read_value,
        read_length(s.read_value, unit_factor(as_unit(s.unit))) AS r_value_mm,
        read_number(s.part_temperature_c) AS m_part_temperature_c,
        read_number(s.gauge_temperature_c) AS m_gauge_temperature_c,
        read_number(s.clock_shows) AS m_clock_shows,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        as_event(r.m_taken_at) AS r_taken_at,
        in_span('read_value', r.m_read_value) AS r_read_value,
        as_word('result', r.result) AS r_result,
        as_unit(r.unit) AS r_unit,
        as_word('reading_kind', r.reading_kind) AS r_reading_kind,
        as_word('found_left', r.found_left) AS r_found_left,
        as_word('chosen', r.chosen) AS r_chosen,
        in_span('part_temperature_c', r.m_part_temperature_c)::DECIMAL(12, 6)
            AS r_part_temperature_c,
        in_span('gauge_temperature_c', r.m_gauge_temperature_c)::DECIMAL(12, 6)
            AS r_gauge_temperature_c,
        as_word('wet', r.wet) AS r_wet,
        in_span('clock_shows', r.m_clock_shows)::DECIMAL(16, 3) AS r_clock_shows,
        as_event(r.m_reported_at) AS r_reported_at
    FROM read_once AS r
),

checked AS (
    SELECT
        c.*,
        CASE
            WHEN c.more1 IS NOT NULL THEN 'too many cells'
            WHEN coalesce(c.read_value, c.result) IS NULL THEN 'value or result missing'
            WHEN
                c.r_value_mm <= 0
                AND c.r_reading_kind IN ('bore', 'diameter', 'remaining', 'pitch')
                THEN 'size not above zero'
            WHEN c.r_value_mm < -1 THEN 'far below zero'
            WHEN (c.r_unit = '%') <> (coalesce(c.r_reading_kind, c.r_unit) IN ('percent', '%'))
                THEN 'unit does not fit'
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
    c.r_taken_at AS taken_at,
    c.r_read_value AS read_value,
    c.r_value_mm AS value_mm,
    c.r_result AS result,
    c.part_type,
    c.place,
    c.piece,
    c.kit,
    c.r_unit AS unit,
    c.r_reading_kind AS reading_kind,
    c.r_found_left AS found_left,
    c.r_chosen AS chosen,
    c.r_part_temperature_c AS part_temperature_c,
    c.r_gauge_temperature_c AS gauge_temperature_c,
    c.r_wet AS wet,
    c.gauge,
    c.inspector,
    c.r_clock_shows AS clock_shows,
    c.row_fault,
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    NOT contains(c.taken_at, ':') AS whole_day,
    position_name(c.position) AS position,
    c.row_fault IS NOT NULL
    OR c.machine IS NULL
    OR c.r_taken_at IS NULL
    OR refused(c.read_value, c.r_read_value)
    OR refused(c.read_value, c.r_value_mm)
    OR refused(c.result, c.r_result)
    OR refused(c.unit, c.r_unit)
    OR refused(c.reading_kind, c.r_reading_kind)
    OR refused(c.found_left, c.r_found_left)
    OR refused(c.chosen, c.r_chosen)
    OR refused(c.part_temperature_c, c.r_part_temperature_c)
    OR refused(c.gauge_temperature_c, c.r_gauge_temperature_c)
    OR refused(c.wet, c.r_wet)
    OR refused(c.clock_shows, c.r_clock_shows)
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
