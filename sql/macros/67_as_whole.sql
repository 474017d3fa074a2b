-- A cell as a whole number its column takes.
CREATE OR REPLACE TEMP MACRO as_whole(column_name, cell) AS
CASE
    WHEN as_number(column_name, cell) = floor(as_number(column_name, cell))
        THEN as_number(column_name, cell)::integer
END
