-- One item of a list of positions as names: 01-24, P01-P08, or a single name.
CREATE OR REPLACE TEMP MACRO position_range(item) AS
CASE
    WHEN regexp_full_match(trim(item), '[^0-9]*[0-9]{1,6} *- *[^0-9]*[0-9]{1,6}')
        THEN list_transform(
            range(
                regexp_extract(trim(item), '([0-9]+) *-', 1)::bigint,
                regexp_extract(trim(item), '([0-9]+)$', 1)::bigint + 1
            ),
            LAMBDA n: position_name(
                regexp_extract(trim(item), '^[^0-9]*')
                || lpad(
                    n::varchar,
                    greatest(
                        length(regexp_extract(trim(item), '([0-9]+) *-', 1)),
                        length(n::varchar)
                    )::integer,
                    '0'
                )
            )
        )
    ELSE [position_name(item)]
END
