-- A cell as one of the words its column takes.
CREATE OR REPLACE TEMP MACRO as_word(column_name, cell) AS
CASE WHEN list_contains(getvariable('takes').words[column_name], cell) THEN cell END
