-- Closes what was set aside of a file whose line is sound now.
-- $import_no, $file: of this import.
UPDATE set_aside
SET closed_by = $import_no::BIGINT
WHERE
    file = $file::VARCHAR
    AND closed_by IS NULL
    AND file_line IN (
        SELECT t.file_line
        FROM typed AS t
        GROUP BY t.file_line
        HAVING NOT bool_or(t.faulty)
    )
