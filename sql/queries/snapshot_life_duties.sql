-- Where each piece with a life sits or sat last, the batch it came from (if any row that fitted it
-- says so), and the duty of that place and part type.
WITH batches AS (
    SELECT
        s.piece,
        min(c.batch) AS batch
    FROM spells AS s
    INNER JOIN changes AS c
        ON
            s.machine = c.machine
            AND s.place = c.place
            AND s.position = c.position
            AND c.action IN ('fitted', 'replaced')
            AND (
                s.start_moment = c.moment
                OR (c.whole_day AND s.start_moment::DATE = c.change_day)
            )
    WHERE NOT s.is_set AND NOT c.is_set
    GROUP BY s.piece
),

duties AS (
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
    coalesce(b.batch, '') AS batch,
    coalesce(d.medium, '') AS medium
FROM pieces AS p
LEFT JOIN batches AS b ON p.piece = b.piece
LEFT JOIN duties AS d ON p.machine = d.machine AND p.place = d.place AND p.part_type = d.part_type
WHERE NOT p.is_set AND p.lives_logged AND p.first_age IS NOT NULL
ORDER BY p.piece
