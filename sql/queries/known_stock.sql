-- Finds the rows of stock at hand that are known, and the rows they are the same as.
-- A row is known only if it equals the version last imported under its key; blank means default.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS (
    SELECT l.*
    FROM log_stock AS l
    INNER JOIN standing_rows() AS s
        ON
            l.import_no = s.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN s.first_row AND s.last_row
    WHERE l.import_no <> $import_no::BIGINT
    QUALIFY s.stands_by = max(s.stands_by) OVER (
        PARTITION BY l.part_type, l.taken_at, l.stock_state, l.order_no
    )
),

fresh AS (
    SELECT
        t.*,
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.part_type, t.taken_at, t.whole_day, t.stock_state,
            t.quantity, t.due, t.order_no, coalesce(t.stock_condition, 'new')
        ) AS row_hash
    FROM ready AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.part_type, l.taken_at, l.whole_day, l.stock_state,
            l.quantity, l.due, l.order_no, coalesce(l.stock_condition, 'new')
        ) AS row_hash
    FROM standing AS l
)

SELECT
    f.row_no,
    a.import_no AS brought_by,
    coalesce(a.nth_row, a.file_line) AS brought_row
FROM fresh AS f
INNER JOIN alike AS a
    ON
        f.row_hash = a.row_hash
        AND f.copy_no = a.copy_no
        AND f.plant IS NOT DISTINCT FROM a.plant
        AND f.note IS NOT DISTINCT FROM a.note
        AND f.extra IS NOT DISTINCT FROM a.extra
        AND f.part_type IS NOT DISTINCT FROM a.part_type
        AND f.taken_at IS NOT DISTINCT FROM a.taken_at
        AND f.whole_day IS NOT DISTINCT FROM a.whole_day
        AND f.stock_state IS NOT DISTINCT FROM a.stock_state
        AND f.quantity IS NOT DISTINCT FROM a.quantity
        AND f.due IS NOT DISTINCT FROM a.due
        AND f.order_no IS NOT DISTINCT FROM a.order_no
        AND coalesce(f.stock_condition, 'new') = coalesce(a.stock_condition, 'new')
