-- No row at hand is known to stand twice.
CREATE OR REPLACE TEMP TABLE repeats AS
SELECT
    NULL::BIGINT AS row_no,
    NULL::INTEGER AS copy_no
WHERE FALSE
