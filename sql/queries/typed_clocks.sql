-- Casts the rows of clocks at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_time(s.taken_at) AS m_taken_at,
        read_number(s.shows) AS m_shows,
        read_number(s.start_shows) AS m_start_shows,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        as_event(r.m_taken_at) AS r_taken_at,
        in_span('shows', r.m_shows)::DECIMAL(16, 3) AS r_shows,
        as_word('clock', r.clock) AS r_clock,
        as_word('event', r.event) AS r_event,
        in_span('start_shows', r.m_start_shows)::DECIMAL(16, 3) AS r_start_shows,
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
    c.r_taken_at AS taken_at,
    c.r_shows AS shows,
    c.r_clock AS clock,
    c.meter,
    c.r_event AS event,
    c.r_start_shows AS start_shows,
    c.row_fault,
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    NOT contains(c.taken_at, ':') AS whole_day,
    c.row_fault IS NOT NULL
    OR c.machine IS NULL
    OR c.r_taken_at IS NULL
    OR c.r_shows IS NULL
    OR refused(c.clock, c.r_clock)
    OR refused(c.event, c.r_event)
    OR refused(c.start_shows, c.r_start_shows)
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
