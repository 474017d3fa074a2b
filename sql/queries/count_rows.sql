-- How many rows the database reads from a text file with quotes; fails where it cannot.
-- $path, $delimiter, $newline, $quote, $skip, $columns: as in stage_file.
SELECT count(*) AS rows_read
FROM
    read_csv(
        $path,
        columns = $columns,
        delim = $delimiter,
        new_line = $newline,
        skip = $skip,
        quote = $quote,
        escape = $quote,
        header = FALSE,
        auto_detect = FALSE,
        null_padding = TRUE,
        ignore_errors = TRUE,
        max_line_size = 16000000
    )
