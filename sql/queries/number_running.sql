-- Numbers the rows of running that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_running
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_running.import_no = $import_no::BIGINT
    AND log_running.file_line = c.file_line
    AND log_running.copy_no <> c.copy_no
