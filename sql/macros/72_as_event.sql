-- A cell as the time of something that happened: from 1970 to the import's day.
CREATE OR REPLACE TEMP MACRO as_event(cell) AS
CASE WHEN as_time(cell)::date <= getvariable('habits').today THEN as_time(cell) END
