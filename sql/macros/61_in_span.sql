-- A number within what its column takes, else nothing.
CREATE OR REPLACE TEMP MACRO in_span(column_name, number) AS
CASE
    WHEN
        number BETWEEN getvariable('takes').least[column_name]
        AND getvariable('takes').most[column_name]
        THEN number
END
