-- Numbers the rows of an import that stand in it more than once with the same number.
-- $log: the table; $import_no: of this import. The log is read again rather than its hashes kept:
-- of 20 million rows that takes a quarter of the time.
CREATE OR REPLACE TEMP TABLE copies AS
WITH mine AS NOT MATERIALIZED (
    SELECT l.* EXCLUDE (import_no, file, known_at) -- noqa: RF03
    FROM query_table($log) AS l
    WHERE l.import_no = $import_no::BIGINT
),

hashed AS NOT MATERIALIZED (
    SELECT
        m.file_line,
        hash(*COLUMNS(m.* EXCLUDE (file_line, nth_row))) AS row_hash -- noqa: RF03
    FROM mine AS m
),

twice AS (
    SELECT h.row_hash
    FROM hashed AS h
    GROUP BY h.row_hash
    HAVING count(*) > 1
),

lines_again AS (
    SELECT h.file_line
    FROM hashed AS h
    SEMI JOIN twice AS t ON h.row_hash = t.row_hash
),

again AS (
    SELECT
        m.file_line,
        m.copy_no,
        struct_pack(*COLUMNS(m.* EXCLUDE (file_line, nth_row, copy_no))) AS cells -- noqa: RF03
    FROM mine AS m
    SEMI JOIN lines_again AS l ON m.file_line = l.file_line
)

SELECT
    a.file_line,
    (
        min(a.copy_no) OVER (PARTITION BY a.cells)
        + row_number() OVER (PARTITION BY a.cells ORDER BY a.copy_no, a.file_line)
        - 1
    )::INTEGER AS copy_no
FROM again AS a
