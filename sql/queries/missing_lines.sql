-- The lines of the plain text file at hand of which no row was added. Lines are counted in blocks,
-- so that only blocks that lack some are looked into.
-- $log: the table; $import_no: of this import. $first_line, $last_line: of the file's rows.
CREATE OR REPLACE TEMP TABLE missing_lines AS
WITH added AS (
    SELECT l.file_line
    FROM query_table($log) AS l
    WHERE l.import_no = $import_no::BIGINT
),

blocks AS (
    SELECT
        a.file_line // 4096 AS block,
        count(*) AS lines_added
    FROM added AS a
    GROUP BY a.file_line // 4096
),

expected AS (
    SELECT
        b.block,
        greatest(b.block * 4096, $first_line::BIGINT) AS from_line,
        least(b.block * 4096 + 4095, $last_line::BIGINT) AS until_line
    FROM range($first_line::BIGINT // 4096, $last_line::BIGINT // 4096 + 1) AS b (block)
),

torn AS (
    SELECT e.*
    FROM expected AS e
    LEFT JOIN blocks AS b ON e.block = b.block
    WHERE coalesce(b.lines_added, 0) <> e.until_line - e.from_line + 1
),

looked AS (
    SELECT unnest(range(t.from_line, t.until_line + 1)) AS file_line
    FROM torn AS t
),

there AS (
    SELECT a.file_line
    FROM added AS a
    SEMI JOIN torn AS t ON a.file_line // 4096 = t.block
)

SELECT l.file_line
FROM looked AS l
ANTI JOIN there AS a ON l.file_line = a.file_line
