-- What is wrong with one cell, as a rule of set_aside; nothing where it can be read.
CREATE OR REPLACE TEMP MACRO fault(column_name, type, required, past, cell) AS
CASE
    WHEN cell IS NULL THEN CASE WHEN required THEN 'required missing' END
    WHEN type IN ('time', 'date') AND as_time(cell) IS NULL
        THEN
            CASE
                WHEN read_time(cell) IS NOT NULL THEN 'before 1970'
                WHEN
                    getvariable('habits').dates = ''
                    AND regexp_matches(cell, '^[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2}')
                    THEN 'ambiguous date'
                WHEN regexp_matches(cell, ':[0-9.]+(Z|[-+][0-9]{2}:?([0-9]{2})?)$')
                    THEN 'time zone not stated'
                ELSE 'not a date'
            END
    WHEN type IN ('time', 'date')
        THEN CASE WHEN past AND as_event(cell) IS NULL THEN 'after the import''s day' END
    WHEN type = 'word'
        THEN CASE WHEN as_word(column_name, cell) IS NULL THEN 'unknown word' END
    WHEN type = 'unit' THEN CASE WHEN as_unit(cell) IS NULL THEN 'unknown unit' END
    WHEN type = 'start' AND as_start(column_name, cell) IS NULL
        THEN
            CASE
                WHEN read_number(cell) < 0 THEN 'below zero'
                ELSE 'unknown word'
            END
    WHEN type IN ('number', 'whole', 'length')
        THEN
            CASE
                WHEN
                    CASE
                        WHEN type = 'length' THEN read_length(cell, 1)
                        ELSE read_number(cell)
                    END IS NULL
                    THEN CASE
                        WHEN regexp_full_match(cell, '[-+]?[0-9.]*,[0-9]+')
                            THEN 'decimal comma'
                        ELSE 'not a number'
                    END
                WHEN
                    type = 'length'
                    AND as_length(column_name, cell) IS NULL
                    AND read_length(cell, 1) <= 0
                    THEN 'not above zero'
                WHEN
                    type <> 'length'
                    AND as_number(column_name, cell) IS NULL
                    AND read_number(cell) < getvariable('takes').least[column_name]
                    THEN CASE
                        WHEN read_number(cell) < 0 THEN 'below zero' ELSE 'too small'
                    END
                WHEN
                    CASE
                        WHEN type = 'length' THEN as_length(column_name, cell)
                        ELSE as_number(column_name, cell)
                    END IS NULL
                    THEN 'too large'
                WHEN type = 'whole' AND as_whole(column_name, cell) IS NULL
                    THEN 'not a whole number'
            END
END
