-- Numbers the rows of readings that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_readings
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_readings.import_no = $import_no::BIGINT
    AND log_readings.file_line = c.file_line
    AND log_readings.copy_no <> c.copy_no
