-- Part types in the version valid on the day; limits as depths of wear. The gauge error is as
-- stated, else as readings repeated on one day tell.
SELECT
    l.part_type,
    l.clock,
    l.wear_limit_mm::DOUBLE AS wear_limit_mm,
    l.limit_measure,
    l.limit_low_mm::DOUBLE AS limit_low_mm,
    l.limit_high_mm::DOUBLE AS limit_high_mm,
    l.alert_mm::DOUBLE AS alert_mm,
    l.prior_shape::DOUBLE AS prior_shape,
    l.prior_shape_low::DOUBLE AS prior_shape_low,
    l.prior_shape_high::DOUBLE AS prior_shape_high,
    l.unit_cost::DOUBLE AS unit_cost,
    l.lead_time_days::DOUBLE AS lead_time_days,
    l.min_order::DOUBLE AS min_order,
    l.pack_size::DOUBLE AS pack_size,
    coalesce(l.gauge_sd_mm::DOUBLE, g.sd_mm) AS gauge_sd_mm,
    coalesce(l.sides, 1)::INTEGER AS sides,
    coalesce(l.description, '') AS description,
    coalesce(l.grade, '') AS grade,
    coalesce(l.size, '') AS size,
    coalesce(l.form, '') AS form,
    coalesce(l.carries_people, FALSE) AS carries_people,
    coalesce(l.prior_source, '') AS prior_source,
    coalesce(l.currency, '') AS currency
FROM limits AS l
LEFT JOIN gauge_repeats AS g ON l.part_type = g.part_type
ORDER BY l.part_type
