-- Adds the rows of clocks that are not known yet; the number added is the rows accepted.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_clocks
BY NAME
WITH withdrawn AS (
    SELECT d.subject
    FROM decided AS d
    WHERE d.about = 'import' AND d.settled_as = 'withdrawn'
),

standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_clocks AS l
    ANTI JOIN withdrawn AS w ON w.subject = l.import_no::VARCHAR
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.machine, t.taken_at, t.whole_day, t.shows, t.clock,
            t.meter, t.event, t.start_shows
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON r.row_no = t.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.taken_at, l.whole_day, l.shows, l.clock,
            l.meter, l.event, l.start_shows
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
        AND a.shows IS NOT DISTINCT FROM f.shows
        AND a.clock IS NOT DISTINCT FROM f.clock
        AND a.meter IS NOT DISTINCT FROM f.meter
        AND a.event IS NOT DISTINCT FROM f.event
        AND a.start_shows IS NOT DISTINCT FROM f.start_shows
