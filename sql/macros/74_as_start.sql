-- A cell as the state at the start of the watch: a word, or an age.
CREATE OR REPLACE TEMP MACRO as_start(column_name, cell) AS
CASE
    WHEN list_contains(getvariable('takes').words[column_name], cell) THEN cell
    WHEN as_number(column_name, cell) IS NOT NULL
        THEN as_number(column_name, cell)::double::varchar
END
