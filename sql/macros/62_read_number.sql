-- A cell as a number with the file's decimal mark; thousands marks are not read.
CREATE OR REPLACE TEMP MACRO read_number(cell) AS
try_cast(
    CASE
        WHEN contains(cell, '_') THEN NULL
        WHEN getvariable('habits').decimal_mark = ','
            THEN CASE WHEN NOT contains(cell, '.') THEN replace(cell, ',', '.') END
        ELSE cell
    END AS decimal(18, 6)
)
