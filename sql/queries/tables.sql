-- The tables in the store's file.
SELECT t.table_name
FROM duckdb_tables() AS t
WHERE t.database_name = 'store'
ORDER BY t.table_name
