-- What each grade was tested for, and its exposure limits, beside the oldest piece in place.
WITH oldest AS (
    SELECT
        p.part_type,
        max(p.age) AS oldest_age,
        max(u.last_day - p.start_moment::DATE) AS oldest_days
    FROM pieces AS p
    CROSS JOIN until_day AS u
    WHERE p.in_place
    GROUP BY p.part_type
)

SELECT
    l.part_type,
    l.pressure_limit_mpa::DOUBLE AS pressure_limit_mpa,
    l.speed_limit_m_s::DOUBLE AS speed_limit_m_s,
    l.pv_limit_mpa_m_s::DOUBLE AS pv_limit_mpa_m_s,
    l.max_temperature_c::DOUBLE AS max_temperature_c,
    l.max_age::DOUBLE AS max_age,
    l.max_age_days::DOUBLE AS max_age_days,
    o.oldest_age::DOUBLE AS oldest_age,
    o.oldest_days::DOUBLE AS oldest_days
FROM limits AS l
LEFT JOIN oldest AS o ON l.part_type = o.part_type
ORDER BY l.part_type
