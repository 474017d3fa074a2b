-- Finds the rows of change_outs at hand that are known, and the rows they are the same as.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_change_outs AS l
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
            t.plant, t.note, t.extra, t.machine, t.taken_at, t.whole_day, t.action,
            t.taken_from, t.part_type, t.place, t.position, t.quantity, t.reason, t.fitted_mm,
            t.piece, t.kit, t.age_at_fit, t.batch, t.clock_shows
        ) AS row_hash
    FROM ready AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.taken_at, l.whole_day, l.action,
            l.taken_from, l.part_type, l.place, l.position, l.quantity, l.reason, l.fitted_mm,
            l.piece, l.kit, l.age_at_fit, l.batch, l.clock_shows
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
        AND f.action IS NOT DISTINCT FROM a.action
        AND f.taken_from IS NOT DISTINCT FROM a.taken_from
        AND f.part_type IS NOT DISTINCT FROM a.part_type
        AND f.place IS NOT DISTINCT FROM a.place
        AND f.position IS NOT DISTINCT FROM a.position
        AND f.quantity IS NOT DISTINCT FROM a.quantity
        AND f.reason IS NOT DISTINCT FROM a.reason
        AND f.fitted_mm IS NOT DISTINCT FROM a.fitted_mm
        AND f.piece IS NOT DISTINCT FROM a.piece
        AND f.kit IS NOT DISTINCT FROM a.kit
        AND f.age_at_fit IS NOT DISTINCT FROM a.age_at_fit
        AND f.batch IS NOT DISTINCT FROM a.batch
        AND f.clock_shows IS NOT DISTINCT FROM a.clock_shows
