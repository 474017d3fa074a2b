-- One row a file (or sheet of a workbook) that was imported; rows = accepted + known + set_aside.
CREATE TABLE imports (
    import_no BIGINT NOT NULL,
    imported_at TIMESTAMP NOT NULL,
    file VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL,
    mapping VARCHAR,
    version VARCHAR NOT NULL,
    backfill BOOLEAN NOT NULL,
    rows_total BIGINT NOT NULL,
    accepted BIGINT NOT NULL,
    known BIGINT NOT NULL,
    set_aside BIGINT NOT NULL
)
