-- How many rows of a file are set aside and not mended yet.
-- $file: its name.
SELECT count(*) AS found
FROM open_set_aside() AS a
WHERE a.file = $file
