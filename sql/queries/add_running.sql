-- Adds the rows of running that are not known yet; the number added is the rows accepted.
-- A row is known only if it equals the version last imported under its key.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_running
BY NAME
WITH standing AS (
    SELECT l.*
    FROM log_running AS l
    ANTI JOIN withdrawn() AS w ON l.import_no = w.import_no
    QUALIFY l.import_no = max(l.import_no) OVER (PARTITION BY l.run_date, l.machine, l.plant_line)
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.run_date, t.running_hours, t.machine, t.plant_line,
            t.phase
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.run_date, l.running_hours, l.machine, l.plant_line,
            l.phase
        ) AS row_hash
    FROM standing AS l
)

SELECT
    $import_no::BIGINT AS import_no,
    $file::VARCHAR AS file,
    known_at(
        f.reported_at, f.run_date::TIMESTAMP, $backfill::BOOLEAN, $imported_at::TIMESTAMP,
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
        AND f.run_date IS NOT DISTINCT FROM a.run_date
        AND f.running_hours IS NOT DISTINCT FROM a.running_hours
        AND f.machine IS NOT DISTINCT FROM a.machine
        AND f.plant_line IS NOT DISTINCT FROM a.plant_line
        AND f.phase IS NOT DISTINCT FROM a.phase
