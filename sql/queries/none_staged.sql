-- No row of the plain text file at hand is left to be looked at.
CREATE OR REPLACE TEMP TABLE staged AS
SELECT r.* EXCLUDE (row_no) -- noqa: RF03
FROM staged_rows AS r
WHERE FALSE
