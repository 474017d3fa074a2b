-- Rows set aside that are neither mended nor of a withdrawn import.
SELECT
    a.import_no,
    a.file,
    a.file_line,
    a.column_name,
    a.raw_value,
    a.rule,
    a.hint
FROM set_aside AS a
ANTI JOIN withdrawn() AS w ON a.import_no = w.import_no
WHERE a.closed_by IS NULL
ORDER BY a.import_no, a.file_line, a.set_aside_id
