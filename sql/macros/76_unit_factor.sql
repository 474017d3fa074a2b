-- How many mm one of a unit is; percent stays percent.
CREATE OR REPLACE TEMP MACRO unit_factor(unit) AS
CASE WHEN unit IS NULL THEN 1 ELSE getvariable('takes').unit_factors[unit] END
