-- The rows at hand are those of the plain text file, read as they are asked for, trimmed.
CREATE OR REPLACE TEMP VIEW staged_rows AS
WITH parts AS (
    SELECT * FROM plain_part(0)
    UNION ALL
    SELECT * FROM plain_part(1)
    UNION ALL
    SELECT * FROM plain_part(2)
    UNION ALL
    SELECT * FROM plain_part(3)
),

cells AS (
    SELECT
        p.file_line,
        nullif(
            CASE
                WHEN getvariable('plain').odd_blanks
                    THEN
                        trim(
                            COLUMNS(p.* EXCLUDE (file_line)), -- noqa: RF03
                            chr(32) || chr(9) || chr(10) || chr(13) || chr(160)
                        )
                ELSE trim(COLUMNS(p.* EXCLUDE (file_line))) -- noqa: RF03
            END,
            ''
        )
    FROM parts AS p
),

filled_cells AS (
    SELECT
        c.*,
        c.file_line AS row_no,
        coalesce(*COLUMNS(c.* EXCLUDE (file_line))) AS filled -- noqa: RF03
    FROM cells AS c
)

SELECT n.*
FROM no_cells() AS n
UNION ALL BY NAME
SELECT f.*
FROM filled_cells AS f
