-- Finds the rows of running at hand that are known, and the rows they are the same as.
-- A row is known only if it equals the version last imported under its key; blank means default.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS (
    SELECT l.*
    FROM log_running AS l
    INNER JOIN standing_rows() AS s
        ON
            l.import_no = s.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN s.first_row AND s.last_row
    WHERE l.import_no <> $import_no::BIGINT
    QUALIFY s.stands_by = max(s.stands_by) OVER (
        PARTITION BY l.run_date, l.machine, l.plant_line
    )
),

fresh AS (
    SELECT
        t.*,
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.run_date, t.running_hours, t.machine, t.plant_line,
            t.phase
        ) AS row_hash
    FROM ready AS t
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
        AND f.run_date IS NOT DISTINCT FROM a.run_date
        AND f.running_hours IS NOT DISTINCT FROM a.running_hours
        AND f.machine IS NOT DISTINCT FROM a.machine
        AND f.plant_line IS NOT DISTINCT FROM a.plant_line
        AND f.phase IS NOT DISTINCT FROM a.phase
