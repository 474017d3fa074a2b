-- Numbers the rows of clocks that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_clocks
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_clocks.import_no = $import_no::BIGINT
    AND log_clocks.file_line = c.file_line
    AND log_clocks.copy_no <> c.copy_no
