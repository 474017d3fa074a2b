-- Stages the rows of the plain text file at hand that were not added, each with its line.
CREATE OR REPLACE TEMP TABLE staged AS
SELECT r.* EXCLUDE (row_no)
FROM staged_rows AS r
SEMI JOIN missing_lines AS m ON r.file_line = m.file_line
ORDER BY r.file_line
