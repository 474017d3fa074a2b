-- Whether there is an import of a number, its file, and whether it was withdrawn.
-- $import_no: its number.
SELECT
    i.import_no,
    i.file,
    i.accepted,
    w.import_no IS NOT NULL AS withdrawn
FROM imports AS i
LEFT JOIN withdrawn() AS w ON i.import_no = w.import_no
WHERE i.import_no = $import_no::BIGINT
