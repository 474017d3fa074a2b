-- A cell as a length in mm, in the unit the mapping states for its column.
CREATE OR REPLACE TEMP MACRO read_sized(column_name, cell) AS
read_length(cell, coalesce(getvariable('mapped').factors[column_name], 1))
