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
LEFT JOIN decided AS d
    ON d.about = 'import' AND d.subject = a.import_no::VARCHAR AND d.settled_as = 'withdrawn'
WHERE a.closed_by IS NULL AND d.subject IS NULL
ORDER BY a.import_no, a.file_line, a.set_aside_id
