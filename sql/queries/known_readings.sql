-- Finds the rows of readings at hand that are known, and the rows they are the same as.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_readings AS l
    SEMI JOIN standing_rows() AS s
        ON
            l.import_no = s.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN s.first_row AND s.last_row
    WHERE l.import_no <> $import_no::BIGINT
),

fresh AS (
    SELECT
        t.*,
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.machine, t.taken_at, t.whole_day, t.read_value,
            t.result, t.part_type, t.place, t.position, t.piece, t.kit, t.unit, t.reading_kind,
            t.found_left, t.chosen, t.part_temperature_c, t.gauge_temperature_c, t.wet,
            t.gauge, t.inspector, t.clock_shows
        ) AS row_hash
    FROM ready AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.taken_at, l.whole_day, l.read_value,
            l.result, l.part_type, l.place, l.position, l.piece, l.kit, l.unit, l.reading_kind,
            l.found_left, l.chosen, l.part_temperature_c, l.gauge_temperature_c, l.wet,
            l.gauge, l.inspector, l.clock_shows
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
        AND f.machine IS NOT DISTINCT FROM a.machine
        AND f.taken_at IS NOT DISTINCT FROM a.taken_at
        AND f.whole_day IS NOT DISTINCT FROM a.whole_day
        AND f.read_value IS NOT DISTINCT FROM a.read_value
        AND f.result IS NOT DISTINCT FROM a.result
        AND f.part_type IS NOT DISTINCT FROM a.part_type
        AND f.place IS NOT DISTINCT FROM a.place
        AND f.position IS NOT DISTINCT FROM a.position
        AND f.piece IS NOT DISTINCT FROM a.piece
        AND f.kit IS NOT DISTINCT FROM a.kit
        AND f.unit IS NOT DISTINCT FROM a.unit
        AND f.reading_kind IS NOT DISTINCT FROM a.reading_kind
        AND f.found_left IS NOT DISTINCT FROM a.found_left
        AND f.chosen IS NOT DISTINCT FROM a.chosen
        AND f.part_temperature_c IS NOT DISTINCT FROM a.part_temperature_c
        AND f.gauge_temperature_c IS NOT DISTINCT FROM a.gauge_temperature_c
        AND f.wet IS NOT DISTINCT FROM a.wet
        AND f.gauge IS NOT DISTINCT FROM a.gauge
        AND f.inspector IS NOT DISTINCT FROM a.inspector
        AND f.clock_shows IS NOT DISTINCT FROM a.clock_shows
