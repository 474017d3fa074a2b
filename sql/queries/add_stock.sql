-- Adds the rows of stock at hand that are not known; the number added is the rows accepted.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_stock
BY NAME
SELECT
    t.* EXCLUDE (row_no, faulty, row_fault, reported_at), -- noqa: RF03
    $import_no::BIGINT AS import_no,
    $file::VARCHAR AS file,
    known_at(
        t.reported_at, t.taken_at::TIMESTAMP, $backfill::BOOLEAN, $imported_at::TIMESTAMP,
        $delay_days::INTEGER
    ) AS known_at
FROM fresh AS t
WHERE NOT t.faulty
