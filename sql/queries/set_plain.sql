-- The plain text file at hand.
-- $path, $delimiter, $newline, $quote: of the file. $skip: its lines before the first row.
-- $lines_a_part: a quarter of its rows. $odd_blanks: it holds tabs or hard spaces.
SET VARIABLE plain = {
    'path': $path::VARCHAR,
    'delimiter': $delimiter::VARCHAR,
    'newline': $newline::VARCHAR,
    'quote': $quote::VARCHAR,
    'skip': $skip::BIGINT,
    'first_line': $skip::BIGINT + 1,
    'lines_a_part': $lines_a_part::BIGINT,
    'odd_blanks': $odd_blanks::BOOLEAN
}
