-- Numbers the rows of part_types that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_part_types
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_part_types.import_no = $import_no::BIGINT
    AND log_part_types.file_line = c.file_line
    AND log_part_types.copy_no <> c.copy_no
