-- Rows set aside in imports that count, and not mended since.
SELECT
    s.import_no AS import,
    s.file,
    s.file_line AS line,
    s.column_name AS "column",
    s.rule,
    s.hint,
    coalesce(s.raw_value, '') AS value
FROM set_aside AS s
INNER JOIN imports AS i ON s.import_no = i.import_no
SEMI JOIN live_imports AS l ON s.import_no = l.import_no
WHERE
    (i.backfill OR i.imported_at::DATE <= getvariable('day'))
    AND (s.closed_by IS NULL OR s.closed_by NOT IN (SELECT m.import_no FROM live_imports AS m))
ORDER BY s.file, s.file_line, s.column_name, s.raw_value, s.set_aside_id
