-- A cell as the plant's wall time. A time written in UTC is moved to the mapping's time_zone; a Z
-- at its end is only taken then.
CREATE OR REPLACE TEMP MACRO read_time(cell) AS
CASE
    WHEN getvariable('habits').time_zone <> '' AND contains(cell, ':')
        THEN
            try_cast(year_first(rtrim(cell, 'Z')) AS timestamp) AT TIME ZONE 'UTC'
            AT TIME ZONE coalesce(nullif(getvariable('habits').time_zone, ''), 'UTC')
    ELSE try_cast(year_first(cell) AS timestamp)
END
