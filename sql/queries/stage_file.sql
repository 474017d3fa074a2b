-- Stages the rows of a text file as they are, trimmed: every column text, the kind's columns that
-- the file lacks empty, cells beyond the header in more1 to more3, columns of no log in x1, x2, ...
-- $path, $delimiter, $newline, $quote: of the file. $skip: its lines before the first row.
-- $columns: its columns in their order, with their types. $parallel: no cell holds a line break.
-- $odd_blanks: it holds tabs or hard spaces beside plain ones.
-- $extra_names: the names of x0, x1, ... in the file. $has_extra: whether there are any.
CREATE OR REPLACE TEMP TABLE staged AS
WITH cells AS (
    SELECT
        nullif(
            CASE
                WHEN $odd_blanks
                    THEN trim(COLUMNS(*), chr(32) || chr(9) || chr(10) || chr(13) || chr(160))
                ELSE trim(COLUMNS(*))
            END,
            ''
        )
    FROM
        read_csv(
            $path,
            columns = $columns,
            delim = $delimiter,
            new_line = $newline,
            skip = $skip,
            quote = $quote,
            escape = $quote,
            parallel = $parallel,
            header = FALSE,
            auto_detect = FALSE,
            null_padding = TRUE,
            ignore_errors = TRUE,
            max_line_size = 16000000
        )
)

SELECT
    c.*,
    CASE
        WHEN $has_extra
            THEN nullif(
                json_merge_patch(
                    '{}', to_json(map($extra_names::VARCHAR[], list_value(*COLUMNS('^x[0-9]+$'))))
                )::VARCHAR,
                '{}'
            )
    END AS extra,
    coalesce(*COLUMNS(*)) AS filled
FROM cells AS c
