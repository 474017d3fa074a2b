-- How many rows were typed, and how many of them are faulty.
SELECT
    count(*) AS typed,
    count(*) FILTER (WHERE t.faulty) AS faulty
FROM typed AS t
