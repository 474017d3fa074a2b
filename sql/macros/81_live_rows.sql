-- Rows that count on the day: those of imports seen and not withdrawn by then, and rows of
-- withdrawn ones that such an import brought again.
CREATE OR REPLACE TEMP MACRO live_rows() AS TABLE
    WITH withdrawn_then AS (
        SELECT d.subject::BIGINT AS import_no
        FROM decisions AS d
        WHERE
            d.about = 'import'
            AND d.decision_no <= getvariable('upto').last_decision
            AND d.decided_on <= getvariable('day')
        GROUP BY d.subject
        HAVING max_by(d.settled_as, d.decision_no) = 'withdrawn'
    ),

    live AS (
        SELECT i.import_no
        FROM imports AS i
        ANTI JOIN withdrawn_then AS w ON i.import_no = w.import_no
        WHERE i.import_no <= getvariable('upto').last_import
    )

    SELECT
        i.import_no,
        0::BIGINT AS first_row,
        9223372036854775807::BIGINT AS last_row
    FROM live AS i
    UNION ALL
    SELECT
        k.brought_by AS import_no,
        k.first_row,
        k.last_row
    FROM known_rows AS k
    SEMI JOIN live AS i ON k.import_no = i.import_no
    SEMI JOIN withdrawn_then AS w ON k.brought_by = w.import_no
