-- What is wrong with one cell, as a rule of set_aside; nothing where it can be read. Moment and
-- number are what was read of it, as far as it can be read.
CREATE OR REPLACE TEMP MACRO fault(column_name, type, required, past, cell, moment, number) AS
CASE
    WHEN cell IS NULL THEN CASE WHEN required THEN 'required missing' END
    WHEN type IN ('time', 'date')
        THEN CASE
            WHEN past AND moment::date > getvariable('habits').today
                THEN 'after the import''s day'
            WHEN moment >= timestamp '1970-01-01' THEN NULL
            WHEN moment IS NOT NULL THEN 'before 1970'
            WHEN
                getvariable('habits').dates = ''
                AND regexp_matches(cell, '^[0-9]{1,2}[./-][0-9]{1,2}[./-][0-9]{2}')
                THEN 'ambiguous date'
            WHEN regexp_matches(cell, ':[0-9.]+(Z|[-+][0-9]{2}:?([0-9]{2})?)$')
                THEN 'time zone not stated'
            ELSE 'not a date'
        END
    WHEN type = 'word'
        THEN CASE WHEN as_word(column_name, cell) IS NULL THEN 'unknown word' END
    WHEN type = 'unit' THEN CASE WHEN as_unit(cell) IS NULL THEN 'unknown unit' END
    WHEN type = 'start'
        THEN CASE
            WHEN list_contains(getvariable('takes').words[column_name], cell) THEN NULL
            WHEN number IS NULL THEN 'unknown word'
            WHEN number < 0 THEN 'below zero'
            WHEN in_span(column_name, number) IS NULL THEN 'too large'
        END
    WHEN type IN ('number', 'whole', 'length')
        THEN CASE
            WHEN number IS NULL AND regexp_full_match(cell, '[-+]?[0-9.]*,[0-9]+')
                THEN 'decimal comma'
            WHEN number IS NULL THEN 'not a number'
            WHEN number > getvariable('takes').most[column_name] THEN 'too large'
            WHEN number < getvariable('takes').least[column_name]
                THEN CASE
                    WHEN number < 0 AND getvariable('takes').least[column_name] >= 0
                        THEN 'below zero'
                    WHEN number <= 0 THEN 'not above zero'
                    ELSE 'too small'
                END
            WHEN type = 'whole' AND number <> floor(number) THEN 'not a whole number'
        END
END
