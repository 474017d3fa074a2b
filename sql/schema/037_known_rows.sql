-- Rows that an import brought again: it found them known, as rows of an earlier import (brought_by)
-- from first_row to last_row. They count while either import stands.
CREATE TABLE known_rows (
    import_no BIGINT NOT NULL,
    brought_by BIGINT NOT NULL,
    first_row BIGINT NOT NULL,
    last_row BIGINT NOT NULL
)
