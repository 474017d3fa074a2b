-- Adds the rows of stock that are not known yet; the number added is the rows accepted.
-- A row is known only if it equals the version last imported under its key.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_stock
BY NAME
WITH withdrawn AS (
    SELECT d.subject
    FROM decided AS d
    WHERE d.about = 'import' AND d.settled_as = 'withdrawn'
),

standing AS (
    SELECT l.*
    FROM log_stock AS l
    ANTI JOIN withdrawn AS w ON w.subject = l.import_no::VARCHAR
    QUALIFY l.import_no = max(l.import_no) OVER (PARTITION BY l.part_type, l.taken_at, l.stock_state, l.order_no)
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
    LEFT JOIN repeats AS r ON r.row_no = t.row_no
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
        a.row_hash = f.row_hash
        AND a.copy_no = f.copy_no
        AND a.plant IS NOT DISTINCT FROM f.plant
        AND a.note IS NOT DISTINCT FROM f.note
        AND a.extra IS NOT DISTINCT FROM f.extra
        AND a.part_type IS NOT DISTINCT FROM f.part_type
        AND a.taken_at IS NOT DISTINCT FROM f.taken_at
        AND a.whole_day IS NOT DISTINCT FROM f.whole_day
        AND a.stock_state IS NOT DISTINCT FROM f.stock_state
        AND a.quantity IS NOT DISTINCT FROM f.quantity
        AND a.due IS NOT DISTINCT FROM f.due
        AND a.order_no IS NOT DISTINCT FROM f.order_no
        AND a.stock_condition IS NOT DISTINCT FROM f.stock_condition
