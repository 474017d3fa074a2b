-- The gauge error of each part type: as stated, else from readings repeated on one day.
SELECT
    l.part_type,
    g.sd_mm AS repeats_mm,
    coalesce(l.gauge_sd_mm::DOUBLE, g.sd_mm) AS sd_mm,
    coalesce(g.pairs, 0)::BIGINT AS pairs,
    CASE
        WHEN l.gauge_sd_mm IS NOT NULL THEN 'stated'
        WHEN g.by_inspectors THEN 'repeats by two inspectors'
        WHEN g.sd_mm IS NOT NULL THEN 'repeats'
        ELSE ''
    END AS told_by
FROM limits AS l
LEFT JOIN gauge_repeats AS g ON l.part_type = g.part_type
ORDER BY l.part_type
