-- A free part's size at 20 C: L (1 + a_gauge (T_gauge - 20)) / (1 + a_part (T_part - 20)).
-- Coefficients in 1/K. The same formula stands in forecast/physics/sizes.py.
CREATE OR REPLACE TEMP MACRO size_at_20c(
    size_mm, part_temperature_c, gauge_temperature_c, part_cte, gauge_cte
) AS
size_mm
* (1 + gauge_cte * (gauge_temperature_c - 20))
/ (1 + part_cte * (part_temperature_c - 20))
