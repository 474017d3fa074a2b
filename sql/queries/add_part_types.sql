-- Adds the rows of part_types that are not known yet; the number added is the rows accepted.
-- A row is known only if it equals the version last imported under its key.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_part_types
BY NAME
WITH withdrawn AS (
    SELECT d.subject
    FROM decided AS d
    WHERE d.about = 'import' AND d.settled_as = 'withdrawn'
),

standing AS (
    SELECT l.*
    FROM log_part_types AS l
    ANTI JOIN withdrawn AS w ON w.subject = l.import_no::VARCHAR
    QUALIFY l.import_no = max(l.import_no) OVER (PARTITION BY l.part_type, l.valid_from)
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.part_type, t.wear_limit_mm, t.description, t.grade,
            t.size, t.form, t.nominal_mm, t.limit_measure, t.limit_low_mm, t.limit_high_mm,
            t.alert_mm, t.limit_source, t.clock, t.gauge_sd_mm, t.size_sd_mm, t.cte_um_per_m_k,
            t.swelling_percent, t.held, t.housing_mm, t.housing_cte, t.max_age, t.max_age_days,
            t.sides, t.carries_people, t.pressure_limit_mpa, t.speed_limit_m_s,
            t.pv_limit_mpa_m_s, t.max_temperature_c, t.prior_shape, t.prior_shape_low,
            t.prior_shape_high, t.prior_source, t.food_contact_doc, t.unit_cost, t.currency,
            t.lead_time_days, t.min_order, t.pack_size, t.valid_from
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON r.row_no = t.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.part_type, l.wear_limit_mm, l.description, l.grade,
            l.size, l.form, l.nominal_mm, l.limit_measure, l.limit_low_mm, l.limit_high_mm,
            l.alert_mm, l.limit_source, l.clock, l.gauge_sd_mm, l.size_sd_mm, l.cte_um_per_m_k,
            l.swelling_percent, l.held, l.housing_mm, l.housing_cte, l.max_age, l.max_age_days,
            l.sides, l.carries_people, l.pressure_limit_mpa, l.speed_limit_m_s,
            l.pv_limit_mpa_m_s, l.max_temperature_c, l.prior_shape, l.prior_shape_low,
            l.prior_shape_high, l.prior_source, l.food_contact_doc, l.unit_cost, l.currency,
            l.lead_time_days, l.min_order, l.pack_size, l.valid_from
        ) AS row_hash
    FROM standing AS l
)

SELECT
    $import_no::BIGINT AS import_no,
    $file::VARCHAR AS file,
    known_at(
        f.reported_at, f.valid_from::TIMESTAMP, $backfill::BOOLEAN, $imported_at::TIMESTAMP,
        $delay_days::INTEGER
    ) AS known_at,
    f.* EXCLUDE (reported_at, row_hash)
FROM fresh AS f
ANTI JOIN alike AS a
    ON
        a.row_hash = f.row_hash
        AND a.copy_no = f.copy_no
        AND a.plant IS NOT DISTINCT FROM f.plant
        AND a.note IS NOT DISTINCT FROM f.note
        AND a.extra IS NOT DISTINCT FROM f.extra
        AND a.part_type IS NOT DISTINCT FROM f.part_type
        AND a.wear_limit_mm IS NOT DISTINCT FROM f.wear_limit_mm
        AND a.description IS NOT DISTINCT FROM f.description
        AND a.grade IS NOT DISTINCT FROM f.grade
        AND a.size IS NOT DISTINCT FROM f.size
        AND a.form IS NOT DISTINCT FROM f.form
        AND a.nominal_mm IS NOT DISTINCT FROM f.nominal_mm
        AND a.limit_measure IS NOT DISTINCT FROM f.limit_measure
        AND a.limit_low_mm IS NOT DISTINCT FROM f.limit_low_mm
        AND a.limit_high_mm IS NOT DISTINCT FROM f.limit_high_mm
        AND a.alert_mm IS NOT DISTINCT FROM f.alert_mm
        AND a.limit_source IS NOT DISTINCT FROM f.limit_source
        AND a.clock IS NOT DISTINCT FROM f.clock
        AND a.gauge_sd_mm IS NOT DISTINCT FROM f.gauge_sd_mm
        AND a.size_sd_mm IS NOT DISTINCT FROM f.size_sd_mm
        AND a.cte_um_per_m_k IS NOT DISTINCT FROM f.cte_um_per_m_k
        AND a.swelling_percent IS NOT DISTINCT FROM f.swelling_percent
        AND a.held IS NOT DISTINCT FROM f.held
        AND a.housing_mm IS NOT DISTINCT FROM f.housing_mm
        AND a.housing_cte IS NOT DISTINCT FROM f.housing_cte
        AND a.max_age IS NOT DISTINCT FROM f.max_age
        AND a.max_age_days IS NOT DISTINCT FROM f.max_age_days
        AND a.sides IS NOT DISTINCT FROM f.sides
        AND a.carries_people IS NOT DISTINCT FROM f.carries_people
        AND a.pressure_limit_mpa IS NOT DISTINCT FROM f.pressure_limit_mpa
        AND a.speed_limit_m_s IS NOT DISTINCT FROM f.speed_limit_m_s
        AND a.pv_limit_mpa_m_s IS NOT DISTINCT FROM f.pv_limit_mpa_m_s
        AND a.max_temperature_c IS NOT DISTINCT FROM f.max_temperature_c
        AND a.prior_shape IS NOT DISTINCT FROM f.prior_shape
        AND a.prior_shape_low IS NOT DISTINCT FROM f.prior_shape_low
        AND a.prior_shape_high IS NOT DISTINCT FROM f.prior_shape_high
        AND a.prior_source IS NOT DISTINCT FROM f.prior_source
        AND a.food_contact_doc IS NOT DISTINCT FROM f.food_contact_doc
        AND a.unit_cost IS NOT DISTINCT FROM f.unit_cost
        AND a.currency IS NOT DISTINCT FROM f.currency
        AND a.lead_time_days IS NOT DISTINCT FROM f.lead_time_days
        AND a.min_order IS NOT DISTINCT FROM f.min_order
        AND a.pack_size IS NOT DISTINCT FROM f.pack_size
        AND a.valid_from IS NOT DISTINCT FROM f.valid_from
