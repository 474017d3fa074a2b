-- The columns of the kind at hand, and what the file calls them.
-- $stored_as, $names, $headers, $types, $required, $past, $words: side by side.
CREATE OR REPLACE TEMP TABLE kind_columns AS
SELECT
    unnest(range(1, len($stored_as::VARCHAR[]) + 1)) AS place,
    unnest($stored_as::VARCHAR[]) AS stored_as,
    unnest($names::VARCHAR[]) AS name,
    unnest($headers::VARCHAR[]) AS header,
    unnest($types::VARCHAR[]) AS type,
    unnest($required::BOOLEAN[]) AS required,
    unnest($past::BOOLEAN[]) AS past,
    unnest($words::VARCHAR[]) AS words
