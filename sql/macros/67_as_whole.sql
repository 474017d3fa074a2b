-- A number that was read as a whole number its column takes.
CREATE OR REPLACE TEMP MACRO as_whole(column_name, number) AS
CASE
    WHEN number = floor(number) THEN in_span(column_name, number)::integer
END
