-- How many rows are staged, and how many of them are blank.
SELECT
    count(*) AS staged,
    count(*) - count(s.filled) AS blank
FROM staged AS s
