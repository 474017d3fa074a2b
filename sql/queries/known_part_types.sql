-- Finds the rows of part_types at hand that are known, and the rows they are the same as.
-- A row is known only if it equals the version last imported under its key; blank means default.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS (
    SELECT l.*
    FROM log_part_types AS l
    INNER JOIN standing_rows() AS s
        ON
            l.import_no = s.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN s.first_row AND s.last_row
    WHERE l.import_no <> $import_no::BIGINT
    QUALIFY s.stands_by = max(s.stands_by) OVER (
        PARTITION BY l.part_type, l.valid_from
    )
),

fresh AS (
    SELECT
        t.*,
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.part_type, t.wear_limit_mm, t.description, t.grade,
            t.size, t.form, t.nominal_mm, coalesce(t.limit_measure, 'depth'), t.limit_low_mm,
            t.limit_high_mm, t.alert_mm, t.limit_source, coalesce(t.clock, 'hours'),
            t.gauge_sd_mm, t.size_sd_mm, t.cte_um_per_m_k, t.swelling_percent, t.held,
            t.housing_mm, t.housing_cte, t.max_age, t.max_age_days, coalesce(t.sides, 1),
            coalesce(t.carries_people, FALSE), t.pressure_limit_mpa, t.speed_limit_m_s,
            t.pv_limit_mpa_m_s, t.max_temperature_c, t.prior_shape, t.prior_shape_low,
            t.prior_shape_high, t.prior_source, t.food_contact_doc, t.unit_cost, t.currency,
            t.lead_time_days, coalesce(t.min_order, 1), coalesce(t.pack_size, 1), t.valid_from
        ) AS row_hash
    FROM ready AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.part_type, l.wear_limit_mm, l.description, l.grade,
            l.size, l.form, l.nominal_mm, coalesce(l.limit_measure, 'depth'), l.limit_low_mm,
            l.limit_high_mm, l.alert_mm, l.limit_source, coalesce(l.clock, 'hours'),
            l.gauge_sd_mm, l.size_sd_mm, l.cte_um_per_m_k, l.swelling_percent, l.held,
            l.housing_mm, l.housing_cte, l.max_age, l.max_age_days, coalesce(l.sides, 1),
            coalesce(l.carries_people, FALSE), l.pressure_limit_mpa, l.speed_limit_m_s,
            l.pv_limit_mpa_m_s, l.max_temperature_c, l.prior_shape, l.prior_shape_low,
            l.prior_shape_high, l.prior_source, l.food_contact_doc, l.unit_cost, l.currency,
            l.lead_time_days, coalesce(l.min_order, 1), coalesce(l.pack_size, 1), l.valid_from
        ) AS row_hash
    FROM standing AS l
)

SELECT
    f.row_no,
    a.import_no AS brought_by,
    coalesce(a.nth_row, a.file_line) AS brought_row
FROM fresh AS f
INNER JOIN alike AS a
    ON
        f.row_hash = a.row_hash
        AND f.copy_no = a.copy_no
        AND f.plant IS NOT DISTINCT FROM a.plant
        AND f.note IS NOT DISTINCT FROM a.note
        AND f.extra IS NOT DISTINCT FROM a.extra
        AND f.part_type IS NOT DISTINCT FROM a.part_type
        AND f.wear_limit_mm IS NOT DISTINCT FROM a.wear_limit_mm
        AND f.description IS NOT DISTINCT FROM a.description
        AND f.grade IS NOT DISTINCT FROM a.grade
        AND f.size IS NOT DISTINCT FROM a.size
        AND f.form IS NOT DISTINCT FROM a.form
        AND f.nominal_mm IS NOT DISTINCT FROM a.nominal_mm
        AND coalesce(f.limit_measure, 'depth') = coalesce(a.limit_measure, 'depth')
        AND f.limit_low_mm IS NOT DISTINCT FROM a.limit_low_mm
        AND f.limit_high_mm IS NOT DISTINCT FROM a.limit_high_mm
        AND f.alert_mm IS NOT DISTINCT FROM a.alert_mm
        AND f.limit_source IS NOT DISTINCT FROM a.limit_source
        AND coalesce(f.clock, 'hours') IS NOT DISTINCT FROM coalesce(a.clock, 'hours')
        AND f.gauge_sd_mm IS NOT DISTINCT FROM a.gauge_sd_mm
        AND f.size_sd_mm IS NOT DISTINCT FROM a.size_sd_mm
        AND f.cte_um_per_m_k IS NOT DISTINCT FROM a.cte_um_per_m_k
        AND f.swelling_percent IS NOT DISTINCT FROM a.swelling_percent
        AND f.held IS NOT DISTINCT FROM a.held
        AND f.housing_mm IS NOT DISTINCT FROM a.housing_mm
        AND f.housing_cte IS NOT DISTINCT FROM a.housing_cte
        AND f.max_age IS NOT DISTINCT FROM a.max_age
        AND f.max_age_days IS NOT DISTINCT FROM a.max_age_days
        AND coalesce(f.sides, 1) IS NOT DISTINCT FROM coalesce(a.sides, 1)
        AND coalesce(f.carries_people, FALSE) IS NOT DISTINCT FROM coalesce(a.carries_people, FALSE)
        AND f.pressure_limit_mpa IS NOT DISTINCT FROM a.pressure_limit_mpa
        AND f.speed_limit_m_s IS NOT DISTINCT FROM a.speed_limit_m_s
        AND f.pv_limit_mpa_m_s IS NOT DISTINCT FROM a.pv_limit_mpa_m_s
        AND f.max_temperature_c IS NOT DISTINCT FROM a.max_temperature_c
        AND f.prior_shape IS NOT DISTINCT FROM a.prior_shape
        AND f.prior_shape_low IS NOT DISTINCT FROM a.prior_shape_low
        AND f.prior_shape_high IS NOT DISTINCT FROM a.prior_shape_high
        AND f.prior_source IS NOT DISTINCT FROM a.prior_source
        AND f.food_contact_doc IS NOT DISTINCT FROM a.food_contact_doc
        AND f.unit_cost IS NOT DISTINCT FROM a.unit_cost
        AND f.currency IS NOT DISTINCT FROM a.currency
        AND f.lead_time_days IS NOT DISTINCT FROM a.lead_time_days
        AND coalesce(f.min_order, 1) IS NOT DISTINCT FROM coalesce(a.min_order, 1)
        AND coalesce(f.pack_size, 1) IS NOT DISTINCT FROM coalesce(a.pack_size, 1)
        AND f.valid_from IS NOT DISTINCT FROM a.valid_from
