-- Numbers the rows of fleet that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_fleet
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_fleet.import_no = $import_no::BIGINT
    AND log_fleet.file_line = c.file_line
    AND log_fleet.copy_no <> c.copy_no
