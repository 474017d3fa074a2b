-- Adds the rows of readings that are not known yet; the number added is the rows accepted.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_readings
BY NAME
WITH withdrawn AS (
    SELECT d.subject
    FROM decided AS d
    WHERE d.about = 'import' AND d.settled_as = 'withdrawn'
),

standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_readings AS l
    ANTI JOIN withdrawn AS w ON w.subject = l.import_no::VARCHAR
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.machine, t.taken_at, t.whole_day, t.read_value, t.result,
            t.part_type, t.place, t.position, t.piece, t.kit, t.unit, t.reading_kind,
            t.found_left, t.chosen, t.part_temperature_c, t.gauge_temperature_c, t.wet, t.gauge,
            t.inspector, t.clock_shows
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON r.row_no = t.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.taken_at, l.whole_day, l.read_value, l.result,
            l.part_type, l.place, l.position, l.piece, l.kit, l.unit, l.reading_kind,
            l.found_left, l.chosen, l.part_temperature_c, l.gauge_temperature_c, l.wet, l.gauge,
            l.inspector, l.clock_shows
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
        AND a.read_value IS NOT DISTINCT FROM f.read_value
        AND a.result IS NOT DISTINCT FROM f.result
        AND a.part_type IS NOT DISTINCT FROM f.part_type
        AND a.place IS NOT DISTINCT FROM f.place
        AND a.position IS NOT DISTINCT FROM f.position
        AND a.piece IS NOT DISTINCT FROM f.piece
        AND a.kit IS NOT DISTINCT FROM f.kit
        AND a.unit IS NOT DISTINCT FROM f.unit
        AND a.reading_kind IS NOT DISTINCT FROM f.reading_kind
        AND a.found_left IS NOT DISTINCT FROM f.found_left
        AND a.chosen IS NOT DISTINCT FROM f.chosen
        AND a.part_temperature_c IS NOT DISTINCT FROM f.part_temperature_c
        AND a.gauge_temperature_c IS NOT DISTINCT FROM f.gauge_temperature_c
        AND a.wet IS NOT DISTINCT FROM f.wet
        AND a.gauge IS NOT DISTINCT FROM f.gauge
        AND a.inspector IS NOT DISTINCT FROM f.inspector
        AND a.clock_shows IS NOT DISTINCT FROM f.clock_shows
