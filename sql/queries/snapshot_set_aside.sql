-- Rows set aside in imports that count, and not mended by the day.
WITH seen AS (
    SELECT i.import_no
    FROM imports AS i
    SEMI JOIN live_imports AS l ON i.import_no = l.import_no
    WHERE i.backfill OR i.imported_at::DATE <= getvariable('day')
)

SELECT
    s.import_no AS import,
    s.file,
    s.file_line AS line,
    s.column_name AS "column",
    s.rule,
    s.hint,
    coalesce(s.raw_value, '') AS value
FROM set_aside AS s
SEMI JOIN seen AS i ON s.import_no = i.import_no
ANTI JOIN seen AS m ON s.closed_by = m.import_no
ORDER BY s.file, s.file_line, s.column_name, s.raw_value, s.set_aside_id
