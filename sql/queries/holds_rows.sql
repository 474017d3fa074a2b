-- Whether a log holds any row.
-- $log: its table.
SELECT count(*) > 0 AS holds
FROM (SELECT 1 FROM query_table($log) LIMIT 1)
