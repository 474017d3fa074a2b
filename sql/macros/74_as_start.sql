-- A cell as the state at the start of the watch: a word, or an age, which was read as number.
CREATE OR REPLACE TEMP MACRO as_start(column_name, cell, number) AS
CASE
    WHEN list_contains(getvariable('takes').words[column_name], cell) THEN cell
    ELSE in_span(column_name, number)::double::varchar
END
