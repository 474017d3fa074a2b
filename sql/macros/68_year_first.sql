-- A cell that holds a date, with or without a time, written year first: 2026-03-04 10:30.
-- Day or month first is only read as the file's habit says; two-digit years are 2000-2099.
CREATE OR REPLACE TEMP MACRO year_first(cell) AS
CASE
    WHEN
        regexp_full_match(cell, '[0-9]{4}-[0-9]{2}-[0-9]{2}([T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?)?')
        THEN cell
    WHEN
        regexp_full_match(
            cell,
            '[0-9]{4}[-/][0-9]{1,2}[-/][0-9]{1,2}'
            || '([T ][0-9]{1,2}:[0-9]{2}(:[0-9]{2}([.][0-9]{1,6})?)?)?'
        )
        THEN replace(cell, '/', '-')
    WHEN
        getvariable('habits').dates <> ''
        AND regexp_full_match(
            cell,
            '[0-9]{1,2}[./-][0-9]{1,2}[./-]([0-9]{2}|[0-9]{4})'
            || '([T ][0-9]{1,2}:[0-9]{2}(:[0-9]{2}([.][0-9]{1,6})?)?)?'
        )
        THEN regexp_replace(
            regexp_replace(cell, '^([0-9]+.[0-9]+.)([0-9]{2})([T ].*)?$', '\120\2\3'),
            '^([0-9]+).([0-9]+).([0-9]{4})',
            CASE
                WHEN getvariable('habits').dates = 'day-month' THEN '\3-\2-\1'
                ELSE '\3-\1-\2'
            END
        )
END
