-- A time that was read of something that happened: from 1970 to the import's day.
CREATE OR REPLACE TEMP MACRO as_event(moment) AS
CASE
    WHEN
        moment >= timestamp '1970-01-01'
        AND moment::date <= getvariable('habits').today
        THEN moment
END
