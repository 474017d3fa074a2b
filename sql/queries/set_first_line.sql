-- The line of the file that holds the first row.
-- $first_line: it.
SET VARIABLE first_line = $first_line::BIGINT
