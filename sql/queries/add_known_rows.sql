-- Keeps which rows of earlier imports this one brought again: runs of rows, first to last.
-- $import_no: of this import.
INSERT INTO known_rows (import_no, brought_by, first_row, last_row)
WITH brought AS (
    SELECT DISTINCT
        k.brought_by,
        k.brought_row
    FROM known AS k
),

runs AS (
    SELECT
        b.*,
        b.brought_row - row_number() OVER (
            PARTITION BY b.brought_by ORDER BY b.brought_row
        ) AS run
    FROM brought AS b
)

SELECT
    $import_no::BIGINT AS import_no,
    r.brought_by,
    min(r.brought_row) AS first_row,
    max(r.brought_row) AS last_row
FROM runs AS r
GROUP BY r.brought_by, r.run
