-- The columns of a Parquet file, in their order.
-- $path: the file.
SELECT c.column_name
FROM (DESCRIBE (SELECT * FROM read_parquet($path))) AS c
