-- Adds the rows of change_outs that are not known yet; the number added is the rows accepted.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_change_outs
BY NAME
WITH withdrawn AS (
    SELECT d.subject
    FROM decided AS d
    WHERE d.about = 'import' AND d.settled_as = 'withdrawn'
),

standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_change_outs AS l
    ANTI JOIN withdrawn AS w ON w.subject = l.import_no::VARCHAR
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.machine, t.taken_at, t.whole_day, t.action, t.taken_from,
            t.part_type, t.place, t.position, t.quantity, t.reason, t.fitted_mm, t.piece, t.kit,
            t.age_at_fit, t.batch, t.clock_shows
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON r.row_no = t.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.taken_at, l.whole_day, l.action, l.taken_from,
            l.part_type, l.place, l.position, l.quantity, l.reason, l.fitted_mm, l.piece, l.kit,
            l.age_at_fit, l.batch, l.clock_shows
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
        AND a.machine IS NOT DISTINCT FROM f.machine
        AND a.taken_at IS NOT DISTINCT FROM f.taken_at
        AND a.whole_day IS NOT DISTINCT FROM f.whole_day
        AND a.action IS NOT DISTINCT FROM f.action
        AND a.taken_from IS NOT DISTINCT FROM f.taken_from
        AND a.part_type IS NOT DISTINCT FROM f.part_type
        AND a.place IS NOT DISTINCT FROM f.place
        AND a.position IS NOT DISTINCT FROM f.position
        AND a.quantity IS NOT DISTINCT FROM f.quantity
        AND a.reason IS NOT DISTINCT FROM f.reason
        AND a.fitted_mm IS NOT DISTINCT FROM f.fitted_mm
        AND a.piece IS NOT DISTINCT FROM f.piece
        AND a.kit IS NOT DISTINCT FROM f.kit
        AND a.age_at_fit IS NOT DISTINCT FROM f.age_at_fit
        AND a.batch IS NOT DISTINCT FROM f.batch
        AND a.clock_shows IS NOT DISTINCT FROM f.clock_shows
