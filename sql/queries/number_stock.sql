-- Numbers the rows of stock that stand more than once in the import that was just added.
-- $import_no: of the import.
UPDATE log_stock
SET copy_no = c.copy_no
FROM copies AS c
WHERE
    log_stock.import_no = $import_no::BIGINT
    AND log_stock.file_line = c.file_line
    AND log_stock.copy_no <> c.copy_no
