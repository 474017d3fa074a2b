-- Finds the rows of clocks at hand that are known, and the rows they are the same as.
-- A row is known if an import that stands brought the same, its n-th repeat included.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS NOT MATERIALIZED (
    SELECT l.*
    FROM log_clocks AS l
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
            t.plant, t.note, t.extra, t.machine, t.taken_at, t.whole_day, t.shows, t.clock,
            t.meter, t.event, t.start_shows
        ) AS row_hash
    FROM ready AS t
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
        AND f.shows IS NOT DISTINCT FROM a.shows
        AND f.clock IS NOT DISTINCT FROM a.clock
        AND f.meter IS NOT DISTINCT FROM a.meter
        AND f.event IS NOT DISTINCT FROM a.event
        AND f.start_shows IS NOT DISTINCT FROM a.start_shows
