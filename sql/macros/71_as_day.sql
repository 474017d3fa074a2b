-- A cell as a day from 1970 on.
CREATE OR REPLACE TEMP MACRO as_day(cell) AS as_time(cell)::date
