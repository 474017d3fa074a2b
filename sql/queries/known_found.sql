-- How many of the rows at hand are known.
SELECT count(DISTINCT k.row_no) AS found
FROM known AS k
