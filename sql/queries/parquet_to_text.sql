-- Writes a Parquet file as text; a time of midnight is a day.
-- $path: the file. $text: where to write.
COPY ( -- noqa: PRS
    SELECT regexp_replace(COLUMNS(*)::VARCHAR, '^([0-9]{4}-[0-9]{2}-[0-9]{2}) 00:00:00$', '\1')
    FROM read_parquet($path)
) TO $text (FORMAT CSV, HEADER)
