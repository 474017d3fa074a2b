-- How many rows of the import at hand stand in it more than once.
SELECT count(*) AS found
FROM copies
