-- Rows that stand: those of imports that are not withdrawn, and rows of withdrawn ones that an
-- import which stands brought again. Stands_by is the import that makes them stand.
CREATE OR REPLACE TEMP MACRO standing_rows() AS TABLE
    WITH standing AS (
        SELECT i.import_no
        FROM imports AS i
        ANTI JOIN withdrawn() AS w ON i.import_no = w.import_no
    )

    SELECT
        s.import_no,
        0::BIGINT AS first_row,
        9223372036854775807::BIGINT AS last_row,
        s.import_no AS stands_by
    FROM standing AS s
    UNION ALL
    SELECT
        k.brought_by AS import_no,
        k.first_row,
        k.last_row,
        k.import_no AS stands_by
    FROM known_rows AS k
    SEMI JOIN standing AS s ON k.import_no = s.import_no
