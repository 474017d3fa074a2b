-- The names of the positions a fleet row states: a count, or 01-24, or A,B,C.
CREATE OR REPLACE TEMP MACRO position_names(said) AS
CASE
    WHEN regexp_full_match(trim(said), '[0-9]{1,6}')
        THEN list_transform(range(1, trim(said)::bigint + 1), LAMBDA n: n::varchar)
    ELSE flatten(list_transform(
        string_split(said, ','), LAMBDA item: position_range(item)
    ))
END
