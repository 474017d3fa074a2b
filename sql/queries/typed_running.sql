-- Casts the rows of running at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_time(s.run_date) AS m_run_date,
        read_number(s.running_hours) AS m_running_hours,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        as_time(r.m_run_date)::DATE AS r_run_date,
        in_span('running_hours', r.m_running_hours)::DECIMAL(8, 3) AS r_running_hours,
        as_event(r.m_reported_at) AS r_reported_at
    FROM read_once AS r
),

checked AS (
    SELECT
        c.*,
        CASE
            WHEN c.more1 IS NOT NULL THEN 'too many cells'
            WHEN coalesce(c.machine, c.plant_line) IS NULL THEN 'machine or line missing'
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
    c.r_run_date AS run_date,
    c.r_running_hours AS running_hours,
    c.machine,
    c.plant_line,
    c.phase,
    c.row_fault,
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    c.row_fault IS NOT NULL
    OR c.r_run_date IS NULL
    OR c.r_running_hours IS NULL
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
