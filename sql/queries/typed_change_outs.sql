-- Casts the rows of change_outs at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_time(s.taken_at) AS m_taken_at,
        read_time(s.taken_from) AS m_taken_from,
        read_number(s.quantity) AS m_quantity,
        read_sized('fitted_mm', s.fitted_mm) AS m_fitted_mm,
        read_number(s.age_at_fit) AS m_age_at_fit,
        read_number(s.clock_shows) AS m_clock_shows,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        as_event(r.m_taken_at) AS r_taken_at,
        as_word('action', r.action) AS r_action,
        as_event(r.m_taken_from) AS r_taken_from,
        as_whole('quantity', r.m_quantity) AS r_quantity,
        as_word('reason', r.reason) AS r_reason,
        in_span('fitted_mm', r.m_fitted_mm)::DECIMAL(12, 6) AS r_fitted_mm,
        in_span('age_at_fit', r.m_age_at_fit)::DECIMAL(14, 2) AS r_age_at_fit,
        in_span('clock_shows', r.m_clock_shows)::DECIMAL(16, 3) AS r_clock_shows,
        as_event(r.m_reported_at) AS r_reported_at
    FROM read_once AS r
),

checked AS (
    SELECT
        c.*,
        CASE
            WHEN c.more1 IS NOT NULL THEN 'too many cells'
            WHEN
                c.r_taken_from > CASE
                    WHEN contains(c.taken_at, ':') THEN c.r_taken_at
                    ELSE c.r_taken_at + INTERVAL 86399 SECOND
                END
                THEN 'at_from after at'
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
    c.r_action AS action,
    c.r_taken_from AS taken_from,
    c.part_type,
    c.place,
    c.r_reason AS reason,
    c.r_fitted_mm AS fitted_mm,
    c.piece,
    c.kit,
    c.r_age_at_fit AS age_at_fit,
    c.batch,
    c.r_clock_shows AS clock_shows,
    c.row_fault,
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    NOT contains(c.taken_at, ':') AS whole_day,
    position_name(c.position) AS position,
    coalesce(c.r_quantity, 1) AS quantity,
    c.row_fault IS NOT NULL
    OR c.machine IS NULL
    OR c.r_taken_at IS NULL
    OR c.r_action IS NULL
    OR refused(c.taken_from, c.r_taken_from)
    OR refused(c.quantity, c.r_quantity)
    OR refused(c.reason, c.r_reason)
    OR refused(c.fitted_mm, c.r_fitted_mm)
    OR refused(c.age_at_fit, c.r_age_at_fit)
    OR refused(c.clock_shows, c.r_clock_shows)
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
