-- The rows at hand are the staged ones; a row without a line of its own stands on the line that
-- follows from its place among them.
CREATE OR REPLACE TEMP VIEW staged_rows AS
SELECT
    s.* EXCLUDE (file_line),
    s.rowid AS row_no,
    coalesce(
        s.file_line::BIGINT,
        s.rowid - (SELECT min(f.rowid) FROM staged AS f) + getvariable('first_line')
    ) AS file_line
FROM staged AS s
