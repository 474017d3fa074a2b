-- Casts the rows of part_types at hand: what cannot be read is empty, and its row faulty.
-- Row_fault names what is wrong with the row as a whole.
CREATE OR REPLACE TEMP VIEW typed_rows AS
WITH read_once AS (
    SELECT
        s.*,
        read_sized('wear_limit_mm', s.wear_limit_mm) AS m_wear_limit_mm,
        read_sized('nominal_mm', s.nominal_mm) AS m_nominal_mm,
        read_sized('limit_low_mm', s.limit_low_mm) AS m_limit_low_mm,
        read_sized('limit_high_mm', s.limit_high_mm) AS m_limit_high_mm,
        read_sized('alert_mm', s.alert_mm) AS m_alert_mm,
        read_sized('gauge_sd_mm', s.gauge_sd_mm) AS m_gauge_sd_mm,
        read_sized('size_sd_mm', s.size_sd_mm) AS m_size_sd_mm,
        read_number(s.cte_um_per_m_k) AS m_cte_um_per_m_k,
        read_number(s.swelling_percent) AS m_swelling_percent,
        read_sized('housing_mm', s.housing_mm) AS m_housing_mm,
        read_number(s.housing_cte) AS m_housing_cte,
        read_number(s.max_age) AS m_max_age,
        read_number(s.max_age_days) AS m_max_age_days,
        read_number(s.sides) AS m_sides,
        read_number(s.pressure_limit_mpa) AS m_pressure_limit_mpa,
        read_number(s.speed_limit_m_s) AS m_speed_limit_m_s,
        read_number(s.pv_limit_mpa_m_s) AS m_pv_limit_mpa_m_s,
        read_number(s.max_temperature_c) AS m_max_temperature_c,
        read_number(s.prior_shape) AS m_prior_shape,
        read_number(s.prior_shape_low) AS m_prior_shape_low,
        read_number(s.prior_shape_high) AS m_prior_shape_high,
        read_number(s.unit_cost) AS m_unit_cost,
        read_number(s.lead_time_days) AS m_lead_time_days,
        read_number(s.min_order) AS m_min_order,
        read_number(s.pack_size) AS m_pack_size,
        read_time(s.valid_from) AS m_valid_from,
        read_time(s.reported_at) AS m_reported_at
    FROM staged_rows AS s
    WHERE s.filled IS NOT NULL
),

cast_once AS (
    SELECT
        r.*,
        in_span('wear_limit_mm', r.m_wear_limit_mm)::DECIMAL(12, 6) AS r_wear_limit_mm,
        as_word('form', r.form) AS r_form,
        in_span('nominal_mm', r.m_nominal_mm)::DECIMAL(12, 6) AS r_nominal_mm,
        as_word('limit_measure', r.limit_measure) AS r_limit_measure,
        in_span('limit_low_mm', r.m_limit_low_mm)::DECIMAL(12, 6) AS r_limit_low_mm,
        in_span('limit_high_mm', r.m_limit_high_mm)::DECIMAL(12, 6) AS r_limit_high_mm,
        in_span('alert_mm', r.m_alert_mm)::DECIMAL(12, 6) AS r_alert_mm,
        as_word('clock', r.clock) AS r_clock,
        in_span('gauge_sd_mm', r.m_gauge_sd_mm)::DECIMAL(12, 6) AS r_gauge_sd_mm,
        in_span('size_sd_mm', r.m_size_sd_mm)::DECIMAL(12, 6) AS r_size_sd_mm,
        in_span('cte_um_per_m_k', r.m_cte_um_per_m_k)::DECIMAL(12, 6) AS r_cte_um_per_m_k,
        in_span('swelling_percent', r.m_swelling_percent)::DECIMAL(12, 6) AS r_swelling_percent,
        as_word('held', r.held) AS r_held,
        in_span('housing_mm', r.m_housing_mm)::DECIMAL(12, 6) AS r_housing_mm,
        in_span('housing_cte', r.m_housing_cte)::DECIMAL(12, 6) AS r_housing_cte,
        in_span('max_age', r.m_max_age)::DECIMAL(14, 2) AS r_max_age,
        in_span('max_age_days', r.m_max_age_days)::DECIMAL(14, 2) AS r_max_age_days,
        as_whole('sides', r.m_sides) AS r_sides,
        as_word('carries_people', r.carries_people) AS r_carries_people,
        in_span('pressure_limit_mpa', r.m_pressure_limit_mpa)::DECIMAL(12, 6)
            AS r_pressure_limit_mpa,
        in_span('speed_limit_m_s', r.m_speed_limit_m_s)::DECIMAL(12, 6) AS r_speed_limit_m_s,
        in_span('pv_limit_mpa_m_s', r.m_pv_limit_mpa_m_s)::DECIMAL(12, 6) AS r_pv_limit_mpa_m_s,
        in_span('max_temperature_c', r.m_max_temperature_c)::DECIMAL(12, 6) AS r_max_temperature_c,
        in_span('prior_shape', r.m_prior_shape)::DECIMAL(12, 6) AS r_prior_shape,
        in_span('prior_shape_low', r.m_prior_shape_low)::DECIMAL(12, 6) AS r_prior_shape_low,
        in_span('prior_shape_high', r.m_prior_shape_high)::DECIMAL(12, 6) AS r_prior_shape_high,
        in_span('unit_cost', r.m_unit_cost)::DECIMAL(14, 4) AS r_unit_cost,
        as_whole('lead_time_days', r.m_lead_time_days) AS r_lead_time_days,
        as_whole('min_order', r.m_min_order) AS r_min_order,
        as_whole('pack_size', r.m_pack_size) AS r_pack_size,
        as_time(r.m_valid_from)::DATE AS r_valid_from,
        as_event(r.m_reported_at) AS r_reported_at
    FROM read_once AS r
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
    c.file_line,
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
    CASE WHEN c.wide_header IS NOT NULL THEN c.row_no END AS nth_row,
    c.r_carries_people = 'yes' AS carries_people,
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
