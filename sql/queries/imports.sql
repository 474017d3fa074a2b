-- Every import with its counts, and whether it was withdrawn.
SELECT
    i.import_no,
    i.imported_at,
    i.file,
    i.kind,
    i.rows_total,
    i.accepted,
    i.known,
    i.set_aside,
    d.subject IS NOT NULL AS withdrawn
FROM imports AS i
LEFT JOIN decided AS d
    ON d.about = 'import' AND d.subject = i.import_no::VARCHAR AND d.settled_as = 'withdrawn'
ORDER BY i.import_no
