-- A position's name as it is compared: whole numbers without leading zeros (01 = 1).
CREATE OR REPLACE TEMP MACRO position_name(said) AS
CASE
    WHEN NOT starts_with(trim(said), '0') THEN trim(said)
    WHEN regexp_full_match(trim(said), '[0-9]+')
        THEN coalesce(nullif(ltrim(trim(said), '0'), ''), '0')
    ELSE trim(said)
END
