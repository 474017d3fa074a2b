-- Closes what was set aside of a file whose line is sound now: some of it was added or is known,
-- and nothing of it is refused.
-- $import_no, $file: of this import. $log: the table it was added to.
UPDATE set_aside
SET closed_by = $import_no::BIGINT
WHERE
    file = $file::VARCHAR
    AND closed_by IS NULL
    AND (
        file_line IN (
            SELECT l.file_line
            FROM query_table($log) AS l
            WHERE l.import_no = $import_no::BIGINT
        )
        OR file_line IN (SELECT t.file_line FROM typed AS t WHERE NOT t.faulty)
    )
    AND file_line NOT IN (SELECT t.file_line FROM typed AS t WHERE t.faulty)
