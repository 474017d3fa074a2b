-- One row a visit to a set of known age, with the sums of its readings.
SELECT
    v.visit,
    v.machine,
    v.part_type,
    v.duty_group,
    v.kit,
    v.reading_day::TIMESTAMP AS day,
    v.mean_age::DOUBLE AS age,
    v.mean_square_age::DOUBLE AS age_sq,
    v.readings::BIGINT AS n,
    v.sy::DOUBLE AS sy,
    v.syy::DOUBLE AS syy,
    v.replaced_share::DOUBLE AS replaced_share,
    v.culled_share::DOUBLE AS culled_share
FROM visits AS v
ORDER BY v.machine, v.reading_day, v.unit
