-- Adds the rows of clocks that are not known yet; the number added is the rows accepted.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_clocks
BY NAME
WITH standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_clocks AS l
    ANTI JOIN withdrawn() AS w ON l.import_no = w.import_no
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
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
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
        f.row_hash = a.row_hash
        AND f.copy_no = a.copy_no
        AND f.plant IS NOT DISTINCT FROM a.plant
        AND f.note IS NOT DISTINCT FROM a.note
        AND f.extra IS NOT DISTINCT FROM a.extra
        AND f.machine IS NOT DISTINCT FROM a.machine
        AND f.taken_at IS NOT DISTINCT FROM a.taken_at
        AND f.whole_day IS NOT DISTINCT FROM a.whole_day
        AND f.shows IS NOT DISTINCT FROM a.shows
        AND f.clock IS NOT DISTINCT FROM a.clock
        AND f.meter IS NOT DISTINCT FROM a.meter
        AND f.event IS NOT DISTINCT FROM a.event
        AND f.start_shows IS NOT DISTINCT FROM a.start_shows
