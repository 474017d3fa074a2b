-- The duty of each piece with readings of known age: that of its place and part type.
SELECT
    p.piece,
    p.place,
    coalesce(f.medium, '') AS medium,
    f.pressure_mpa::DOUBLE AS pressure_mpa,
    f.speed_m_s::DOUBLE AS speed_m_s,
    f.temperature_c::DOUBLE AS temperature_c
FROM pieces AS p
INNER JOIN (
    SELECT
        t.machine,
        coalesce(t.place, t.part_type) AS place,
        t.part_type,
        max(t.medium) AS medium,
        max(t.pressure_mpa) AS pressure_mpa,
        max(t.speed_m_s) AS speed_m_s,
        max(t.temperature_c) AS temperature_c
    FROM fleet AS t
    GROUP BY ALL
) AS f ON p.machine = f.machine AND p.place = f.place AND p.part_type = f.part_type
WHERE p.readings > 0 AND NOT p.is_set AND p.first_age IS NOT NULL
ORDER BY p.piece
