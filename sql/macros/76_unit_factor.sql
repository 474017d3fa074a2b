-- How many mm one of a unit is; percent stays percent.
CREATE OR REPLACE TEMP MACRO unit_factor(unit) AS
CASE
    WHEN coalesce(unit, 'mm') = 'mm' THEN 1
    ELSE getvariable('takes').unit_factors[unit]
END
