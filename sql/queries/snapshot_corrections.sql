-- How many readings of each part type were brought to 20 C and dry, by how much at most, and how
-- many could not be although something called for it.
SELECT
    a.part_type,
    a.not_corrected,
    count(*)::BIGINT AS readings,
    sum(count(*)) OVER (PARTITION BY a.part_type)::BIGINT AS of_readings,
    count(*) FILTER (abs(a.heat_mm) + abs(a.dry_less_mm) > 0.0005)::BIGINT AS corrected,
    max(abs(a.heat_mm) + abs(a.dry_less_mm))::DOUBLE AS most_mm
FROM aged AS a
GROUP BY a.part_type, a.not_corrected
ORDER BY a.part_type, a.not_corrected
