-- Under which duty each part type runs or ran, by machine and place, as the fleet states it.
SELECT
    f.machine,
    f.part_type,
    coalesce(f.place, f.part_type) AS place,
    coalesce(f.duty_group, '') AS duty_group,
    coalesce(f.medium, '') AS medium,
    max(f.pressure_mpa)::DOUBLE AS pressure_mpa,
    max(f.speed_m_s)::DOUBLE AS speed_m_s,
    max(f.temperature_c)::DOUBLE AS temperature_c
FROM fleet AS f
GROUP BY ALL
ORDER BY f.part_type, f.machine, place, duty_group, medium
