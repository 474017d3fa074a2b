-- Keeps one import.
-- $import_no, $imported_at, $file, $kind, $sha256, $mapping, $version, $backfill: as in imports.
-- $rows_total, $accepted, $known, $set_aside: rows = accepted + known + set_aside.
INSERT INTO imports (
    import_no,
    imported_at,
    file,
    kind,
    sha256,
    mapping,
    version,
    backfill,
    rows_total,
    accepted,
    known,
    set_aside
)
VALUES (
    $import_no,
    $imported_at,
    $file,
    $kind,
    $sha256,
    $mapping,
    $version,
    $backfill,
    $rows_total,
    $accepted,
    $known,
    $set_aside
)
