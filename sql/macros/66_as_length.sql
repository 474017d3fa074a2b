-- A cell as a length in mm its column takes.
CREATE OR REPLACE TEMP MACRO as_length(column_name, cell) AS
in_span(column_name, read_length(cell, coalesce(getvariable('mapped').factors[column_name], 1)))
