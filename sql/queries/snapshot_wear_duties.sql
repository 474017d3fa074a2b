-- The duty of each piece with readings of known age: that of its place and part type.
WITH duties AS (
    SELECT
        f.machine,
        f.part_type,
        coalesce(f.place, f.part_type) AS place,
        max(f.medium) AS medium,
        max(f.pressure_mpa) AS pressure_mpa,
        max(f.speed_m_s) AS speed_m_s,
        max(f.temperature_c) AS temperature_c
    FROM fleet AS f
    GROUP BY ALL
)

SELECT
    p.piece,
    p.place,
    d.pressure_mpa::DOUBLE AS pressure_mpa,
    d.speed_m_s::DOUBLE AS speed_m_s,
    d.temperature_c::DOUBLE AS temperature_c,
    coalesce(d.medium, '') AS medium
FROM pieces AS p
INNER JOIN duties AS d
    ON p.machine = d.machine AND p.place = d.place AND p.part_type = d.part_type
WHERE p.readings > 0 AND NOT p.is_set AND p.first_age IS NOT NULL
ORDER BY p.piece
