-- A time that was read, from 1970 on.
CREATE OR REPLACE TEMP MACRO as_time(moment) AS
CASE WHEN moment >= timestamp '1970-01-01' THEN moment END
