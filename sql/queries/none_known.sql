-- No row at hand is known.
CREATE OR REPLACE TEMP TABLE known AS
SELECT
    NULL::BIGINT AS row_no,
    NULL::BIGINT AS brought_by,
    NULL::BIGINT AS brought_row
WHERE FALSE
