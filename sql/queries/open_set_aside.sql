-- How many rows of a file are set aside and not mended yet.
-- $file: its name.
SELECT count(*) AS found
FROM set_aside AS a
WHERE a.file = $file AND a.closed_by IS NULL
