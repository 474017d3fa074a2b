-- Casts the staged rows of part_types: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
-- $first_line: the line of the file that holds the first row.
CREATE OR REPLACE TEMP TABLE typed AS
WITH cast_once AS (
    SELECT
        s.*,
        s.rowid AS row_no,
        s.rowid - (SELECT min(f.rowid) FROM staged AS f) + $first_line AS line_counted,
        as_length('wear_limit_mm', s.wear_limit_mm)::DECIMAL(12, 6) AS r_wear_limit_mm,
        as_word('form', s.form) AS r_form,
        as_length('nominal_mm', s.nominal_mm)::DECIMAL(12, 6) AS r_nominal_mm,
        as_word('limit_measure', s.limit_measure) AS r_limit_measure,
        as_length('limit_low_mm', s.limit_low_mm)::DECIMAL(12, 6) AS r_limit_low_mm,
        as_length('limit_high_mm', s.limit_high_mm)::DECIMAL(12, 6) AS r_limit_high_mm,
        as_length('alert_mm', s.alert_mm)::DECIMAL(12, 6) AS r_alert_mm,
        as_word('clock', s.clock) AS r_clock,
        as_length('gauge_sd_mm', s.gauge_sd_mm)::DECIMAL(12, 6) AS r_gauge_sd_mm,
        as_length('size_sd_mm', s.size_sd_mm)::DECIMAL(12, 6) AS r_size_sd_mm,
        as_number('cte_um_per_m_k', s.cte_um_per_m_k)::DECIMAL(12, 6) AS r_cte_um_per_m_k,
        as_number('swelling_percent', s.swelling_percent)::DECIMAL(12, 6) AS r_swelling_percent,
        as_word('held', s.held) AS r_held,
        as_length('housing_mm', s.housing_mm)::DECIMAL(12, 6) AS r_housing_mm,
        as_number('housing_cte', s.housing_cte)::DECIMAL(12, 6) AS r_housing_cte,
        as_number('max_age', s.max_age)::DECIMAL(14, 2) AS r_max_age,
        as_number('max_age_days', s.max_age_days)::DECIMAL(14, 2) AS r_max_age_days,
        as_whole('sides', s.sides) AS r_sides,
        as_word('carries_people', s.carries_people) AS r_carries_people,
        as_number('pressure_limit_mpa', s.pressure_limit_mpa)::DECIMAL(12, 6)
            AS r_pressure_limit_mpa,
        as_number('speed_limit_m_s', s.speed_limit_m_s)::DECIMAL(12, 6) AS r_speed_limit_m_s,
        as_number('pv_limit_mpa_m_s', s.pv_limit_mpa_m_s)::DECIMAL(12, 6) AS r_pv_limit_mpa_m_s,
        as_number('max_temperature_c', s.max_temperature_c)::DECIMAL(12, 6) AS r_max_temperature_c,
        as_number('prior_shape', s.prior_shape)::DECIMAL(12, 6) AS r_prior_shape,
        as_number('prior_shape_low', s.prior_shape_low)::DECIMAL(12, 6) AS r_prior_shape_low,
        as_number('prior_shape_high', s.prior_shape_high)::DECIMAL(12, 6) AS r_prior_shape_high,
        as_number('unit_cost', s.unit_cost)::DECIMAL(14, 4) AS r_unit_cost,
        as_whole('lead_time_days', s.lead_time_days) AS r_lead_time_days,
        as_whole('min_order', s.min_order) AS r_min_order,
        as_whole('pack_size', s.pack_size) AS r_pack_size,
        as_day(s.valid_from) AS r_valid_from,
        as_event(s.reported_at) AS r_reported_at
    FROM staged AS s
    WHERE s.filled IS NOT NULL
),

checked AS (
    SELECT
        c.*,
        CASE
            WHEN c.more1 IS NOT NULL THEN 'too many cells'
        END AS row_fault
    FROM cast_once AS c
)

SELECT
    c.row_no,
    coalesce(c.file_line::BIGINT, c.line_counted) AS file_line,
    c.r_reported_at AS reported_at,
    c.plant,
    c.note,
    c.extra,
    c.part_type,
    c.r_wear_limit_mm AS wear_limit_mm,
    c.description,
    c.grade,
    c.size,
    c.r_form AS form,
    c.r_nominal_mm AS nominal_mm,
    c.r_limit_measure AS limit_measure,
    c.r_limit_low_mm AS limit_low_mm,
    c.r_limit_high_mm AS limit_high_mm,
    c.r_alert_mm AS alert_mm,
    c.limit_source,
    c.r_clock AS clock,
    c.r_gauge_sd_mm AS gauge_sd_mm,
    c.r_size_sd_mm AS size_sd_mm,
    c.r_cte_um_per_m_k AS cte_um_per_m_k,
    c.r_swelling_percent AS swelling_percent,
    c.r_held AS held,
    c.r_housing_mm AS housing_mm,
    c.r_housing_cte AS housing_cte,
    c.r_max_age AS max_age,
    c.r_max_age_days AS max_age_days,
    c.r_sides AS sides,
    c.r_carries_people = 'yes' AS carries_people,
    c.r_pressure_limit_mpa AS pressure_limit_mpa,
    c.r_speed_limit_m_s AS speed_limit_m_s,
    c.r_pv_limit_mpa_m_s AS pv_limit_mpa_m_s,
    c.r_max_temperature_c AS max_temperature_c,
    c.r_prior_shape AS prior_shape,
    c.r_prior_shape_low AS prior_shape_low,
    c.r_prior_shape_high AS prior_shape_high,
    c.prior_source,
    c.food_contact_doc,
    c.r_unit_cost AS unit_cost,
    c.currency,
    c.r_lead_time_days AS lead_time_days,
    c.r_min_order AS min_order,
    c.r_pack_size AS pack_size,
    c.r_valid_from AS valid_from,
    c.row_fault,
    c.row_fault IS NOT NULL
    OR c.part_type IS NULL
    OR c.r_wear_limit_mm IS NULL
    OR refused(c.form, c.r_form)
    OR refused(c.nominal_mm, c.r_nominal_mm)
    OR refused(c.limit_measure, c.r_limit_measure)
    OR refused(c.limit_low_mm, c.r_limit_low_mm)
    OR refused(c.limit_high_mm, c.r_limit_high_mm)
    OR refused(c.alert_mm, c.r_alert_mm)
    OR refused(c.clock, c.r_clock)
    OR refused(c.gauge_sd_mm, c.r_gauge_sd_mm)
    OR refused(c.size_sd_mm, c.r_size_sd_mm)
    OR refused(c.cte_um_per_m_k, c.r_cte_um_per_m_k)
    OR refused(c.swelling_percent, c.r_swelling_percent)
    OR refused(c.held, c.r_held)
    OR refused(c.housing_mm, c.r_housing_mm)
    OR refused(c.housing_cte, c.r_housing_cte)
    OR refused(c.max_age, c.r_max_age)
    OR refused(c.max_age_days, c.r_max_age_days)
    OR refused(c.sides, c.r_sides)
    OR refused(c.carries_people, c.r_carries_people)
    OR refused(c.pressure_limit_mpa, c.r_pressure_limit_mpa)
    OR refused(c.speed_limit_m_s, c.r_speed_limit_m_s)
    OR refused(c.pv_limit_mpa_m_s, c.r_pv_limit_mpa_m_s)
    OR refused(c.max_temperature_c, c.r_max_temperature_c)
    OR refused(c.prior_shape, c.r_prior_shape)
    OR refused(c.prior_shape_low, c.r_prior_shape_low)
    OR refused(c.prior_shape_high, c.r_prior_shape_high)
    OR refused(c.unit_cost, c.r_unit_cost)
    OR refused(c.lead_time_days, c.r_lead_time_days)
    OR refused(c.min_order, c.r_min_order)
    OR refused(c.pack_size, c.r_pack_size)
    OR refused(c.valid_from, c.r_valid_from)
    OR refused(c.reported_at, c.r_reported_at) AS faulty
FROM checked AS c
