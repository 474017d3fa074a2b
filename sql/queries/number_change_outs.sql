-- Numbers the rows of change_outs that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_change_outs
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_change_outs.import_no = $import_no::BIGINT
    AND log_change_outs.file_line = c.file_line
    AND log_change_outs.copy_no <> c.copy_no
