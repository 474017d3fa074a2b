-- Casts the rows of stock at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_time(s.taken_at) AS m_taken_at,
        read_number(s.quantity) AS m_quantity,
        read_time(s.due) AS m_due,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        as_event(r.m_taken_at) AS r_taken_at,
        as_word('stock_state', r.stock_state) AS r_stock_state,
        as_whole('quantity', r.m_quantity) AS r_quantity,
        as_time(r.m_due)::DATE AS r_due,
        as_word('stock_condition', r.stock_condition) AS r_stock_condition,
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
    c.part_type,
    c.r_taken_at AS taken_at,
    c.r_stock_state AS stock_state,
    c.r_quantity AS quantity,
    c.r_due AS due,
    c.order_no,
    c.r_stock_condition AS stock_condition,
    c.row_fault,
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    NOT contains(c.taken_at, ':') AS whole_day,
    c.row_fault IS NOT NULL
    OR c.part_type IS NULL
    OR c.r_taken_at IS NULL
    OR c.r_stock_state IS NULL
    OR c.r_quantity IS NULL
    OR refused(c.due, c.r_due)
    OR refused(c.stock_condition, c.r_stock_condition)
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
