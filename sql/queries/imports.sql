-- Every import with its counts, what it was read from and with, and whether it was withdrawn.
SELECT
    i.import_no,
    i.imported_at,
    i.file,
    i.kind,
    i.rows_total,
    i.accepted,
    i.known,
    i.set_aside,
    i.sha256,
    i.mapping,
    i.version,
    i.backfill,
    w.import_no IS NOT NULL AS withdrawn
FROM imports AS i
LEFT JOIN withdrawn() AS w ON i.import_no = w.import_no
ORDER BY i.import_no
