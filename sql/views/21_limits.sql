-- Part types in the version valid on the last known day, with every limit as a depth of wear and
-- coefficients in 1/K. Where the limit is a remaining size, the depth is the nominal size less it;
-- an elongation in percent is one of the nominal pitch.
CREATE OR REPLACE TEMP TABLE limits AS
WITH valid AS (
    SELECT p.*
    FROM part_types AS p
    CROSS JOIN until_day AS u
    WHERE p.holds_from <= u.last_day
    QUALIFY row_number() OVER (PARTITION BY p.part_type ORDER BY p.holds_from DESC) = 1
)

SELECT
    v.* EXCLUDE (
        wear_limit_mm, limit_low_mm, limit_high_mm, alert_mm, limit_measure, clock, cte_um_per_m_k,
        housing_cte
    ),
    coalesce(v.limit_measure, 'depth') AS limit_measure,
    coalesce(v.clock, 'hours') AS clock,
    CASE
        WHEN v.limit_measure = 'remaining' THEN v.nominal_mm - v.wear_limit_mm
        WHEN v.limit_measure = 'elongation_percent' THEN v.nominal_mm * v.wear_limit_mm / 100
        ELSE v.wear_limit_mm
    END AS wear_limit_mm,
    CASE
        WHEN v.limit_measure = 'remaining' THEN v.nominal_mm - v.limit_high_mm
        WHEN v.limit_measure = 'elongation_percent' THEN v.nominal_mm * v.limit_low_mm / 100
        ELSE v.limit_low_mm
    END AS limit_low_mm,
    CASE
        WHEN v.limit_measure = 'remaining' THEN v.nominal_mm - v.limit_low_mm
        WHEN v.limit_measure = 'elongation_percent' THEN v.nominal_mm * v.limit_high_mm / 100
        ELSE v.limit_high_mm
    END AS limit_high_mm,
    CASE
        WHEN v.limit_measure = 'remaining' THEN v.nominal_mm - v.alert_mm
        WHEN v.limit_measure = 'elongation_percent' THEN v.nominal_mm * v.alert_mm / 100
        ELSE v.alert_mm
    END AS alert_mm,
    v.cte_um_per_m_k::DOUBLE / 1e6 AS part_cte,
    v.housing_cte::DOUBLE / 1e6 AS housing_cte,
    coalesce(v.gauge_sd_mm, 0.03)::DOUBLE AS gauge_guess_mm
FROM valid AS v
ORDER BY v.part_type
