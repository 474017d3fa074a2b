-- The steps of the schema that this store has had.
SELECT
    s.number,
    s.name,
    s.sha256
FROM schema_step AS s
ORDER BY s.number
