-- Adds the rows of stock that are not known yet; the number added is the rows accepted.
-- A row is known only if it equals the version last imported under its key.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_stock
BY NAME
WITH standing AS (
    SELECT l.*
    FROM log_stock AS l
    ANTI JOIN withdrawn() AS w ON l.import_no = w.import_no
    QUALIFY l.import_no = max(l.import_no) OVER (
        PARTITION BY l.part_type, l.taken_at, l.stock_state, l.order_no
    )
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.part_type, t.taken_at, t.whole_day, t.stock_state,
            t.quantity, t.due, t.order_no, t.stock_condition
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.part_type, l.taken_at, l.whole_day, l.stock_state,
            l.quantity, l.due, l.order_no, l.stock_condition
        ) AS row_hash
    FROM standing AS l
)

SELECT
    $import_no::BIGINT AS import_no,
    $file::VARCHAR AS file,
    known_at(
        f.reported_at, f.taken_at::TIMESTAMP, $backfill::BOOLEAN, $imported_at::TIMESTAMP,
        $delay_days::INTEGER
    ) AS known_at,
    f.* EXCLUDE (reported_at, row_hash)
FROM fresh AS f
ANTI JOIN alike AS a
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
        AND f.stock_condition IS NOT DISTINCT FROM a.stock_condition
