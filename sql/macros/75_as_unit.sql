-- The unit of length that a cell means; % for readings in percent.
CREATE OR REPLACE TEMP MACRO as_unit(cell) AS
CASE WHEN cell = 'mm' THEN cell ELSE getvariable('takes').unit_names[lower(cell)] END
