-- A cell as a time from 1970 on.
CREATE OR REPLACE TEMP MACRO as_time(cell) AS
CASE WHEN read_time(cell) >= timestamp '1970-01-01' THEN read_time(cell) END
