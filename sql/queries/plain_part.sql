-- Makes plain_part: one of the four parts of the plain text file at hand, a row a line, with the
-- line of each row. Lines are counted while they are read one after the other, the parts side by
-- side.
CREATE OR REPLACE TEMP MACRO plain_part(part) AS TABLE
    SELECT
        c.*,
        getvariable('plain').first_line
        + part * getvariable('plain').lines_a_part -- noqa: RF03
        + row_number() OVER ()
        - 1 AS file_line
    FROM
        read_csv(
            getvariable('plain').path,
            columns = getvariable('plain_columns'),
            delim = getvariable('plain').delimiter,
            new_line = getvariable('plain').newline,
            skip
            = getvariable('plain').skip
            + part * getvariable('plain').lines_a_part, -- noqa: RF03
            quote = getvariable('plain').quote,
            escape = getvariable('plain').quote,
            parallel = FALSE,
            header = FALSE,
            auto_detect = FALSE,
            null_padding = TRUE,
            ignore_errors = TRUE,
            max_line_size = 16000000
        ) AS c
    LIMIT -- noqa: AM09
        CASE WHEN part < 3 THEN getvariable('plain').lines_a_part ELSE 9223372036854775807 END
