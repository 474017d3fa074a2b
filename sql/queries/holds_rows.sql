-- Whether a log holds any row.
-- $log: its table.
SELECT EXISTS (FROM query_table($log)) AS holds
