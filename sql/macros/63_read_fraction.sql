-- A cell like 1/8 or 1 1/2 as a number.
CREATE OR REPLACE TEMP MACRO read_fraction(cell) AS
CASE
    WHEN regexp_full_match(cell, '-?([0-9]{1,6}[ -])?[0-9]{1,4}/[1-9][0-9]{0,3}')
        THEN
            CASE WHEN starts_with(cell, '-') THEN -1.0 ELSE 1.0 END * (
                coalesce(
                    try_cast(regexp_extract(cell, '^-?([0-9]+)[ -]', 1) AS integer), 0
                )
                + regexp_extract(cell, '([0-9]+)/', 1)::integer
                / regexp_extract(cell, '/([0-9]+)$', 1)::integer
            )
END
