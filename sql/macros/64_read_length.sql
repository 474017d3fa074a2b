-- A cell as a length in mm: factor mm are one unit of the file.
CREATE OR REPLACE TEMP MACRO read_length(cell, factor) AS
CASE
    WHEN contains(cell, '/')
        THEN try_cast(read_fraction(cell) * factor::double AS decimal(18, 6))
    WHEN factor = 1 THEN read_number(cell)
    ELSE try_cast(read_number(cell) * factor AS decimal(18, 6))
END
