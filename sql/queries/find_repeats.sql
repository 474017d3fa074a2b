-- Numbers the rows that stand more than once in one file, in the file's order.
CREATE OR REPLACE TEMP TABLE repeats AS
WITH hashed AS (
    SELECT
        t.row_no,
        hash(
            struct_pack(
                *COLUMNS(* EXCLUDE (row_no, file_line, nth_row, reported_at, row_fault, faulty))
            )
        ) AS row_hash
    FROM typed AS t
    WHERE NOT t.faulty
),

twice AS (
    SELECT h.row_hash
    FROM hashed AS h
    GROUP BY h.row_hash
    HAVING count(*) > 1
),

again AS (
    SELECT t.*
    FROM typed AS t
    INNER JOIN hashed AS h ON t.row_no = h.row_no
    SEMI JOIN twice AS w ON h.row_hash = w.row_hash
)

SELECT
    a.row_no,
    row_number() OVER (
        PARTITION BY
            struct_pack(
                *COLUMNS(* EXCLUDE (row_no, file_line, nth_row, reported_at, row_fault, faulty))
            )
        ORDER BY a.row_no
    )::INTEGER AS copy_no
FROM again AS a
