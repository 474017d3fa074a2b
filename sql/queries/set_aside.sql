-- Rows set aside that are neither mended nor of a withdrawn import, with the log they are meant
-- for, their raw text and the same as it is exported.
SELECT
    a.import_no,
    a.file,
    a.file_line,
    a.column_name,
    a.raw_value,
    a.rule,
    a.hint,
    a.set_aside_id,
    a.kind,
    a.raw_row,
    a.mendable
FROM open_set_aside() AS a
ORDER BY a.import_no, a.file_line, a.set_aside_id
