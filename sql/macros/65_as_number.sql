-- A cell as a number its column takes.
CREATE OR REPLACE TEMP MACRO as_number(column_name, cell) AS
in_span(column_name, read_number(cell))
