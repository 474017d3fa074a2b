-- The bore at 20 C of a bush pressed in a housing, from its bore at another temperature: the
-- area of the bush grows freely, its outside follows the housing. Coefficients in 1/K.
-- The same formula stands in forecast/physics/sizes.py.
CREATE OR REPLACE TEMP MACRO pressed_bore_at_20c(
    bore_mm, part_temperature_c, part_cte, housing_mm, housing_cte
) AS
CASE
    WHEN
        pow(housing_mm * (1 + housing_cte * (part_temperature_c - 20)), 2) > pow(bore_mm, 2)
        AND pow(housing_mm, 2)
        > (
            pow(housing_mm * (1 + housing_cte * (part_temperature_c - 20)), 2)
            - pow(bore_mm, 2)
        ) / pow(1 + part_cte * (part_temperature_c - 20), 2)
        THEN sqrt(
            pow(housing_mm, 2)
            - (
                pow(housing_mm * (1 + housing_cte * (part_temperature_c - 20)), 2)
                - pow(bore_mm, 2)
            ) / pow(1 + part_cte * (part_temperature_c - 20), 2)
        )
END
