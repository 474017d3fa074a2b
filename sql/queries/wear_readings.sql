-- Hours run by each reading of a piece of known age, by season and phase (cell): one row a reading
-- and cell, for questions that sums can't answer.
WITH counted AS (
    SELECT
        a.spell_no,
        a.machine,
        a.piece,
        p.part_type,
        p.duty_group,
        a.taken_at,
        a.wear_mm,
        a.meter_hours::DOUBLE AS meter_hours,
        row_number() OVER (
            ORDER BY a.piece, a.moment, a.wear_mm, a.file, a.file_line, a.copy_no
        ) AS reading
    FROM aged AS a
    INNER JOIN pieces AS p ON a.piece = p.piece
    WHERE NOT a.is_set AND NOT a.is_suspect AND a.age IS NOT NULL
)

SELECT
    c.reading,
    c.machine,
    c.piece,
    c.part_type,
    c.duty_group,
    c.taken_at AS at,
    c.wear_mm::DOUBLE AS wear_mm,
    s.cell,
    sum(
        s.base_hours + greatest(least(c.meter_hours, s.high) - s.low, 0) * s.clock_per_hour
    )::DOUBLE AS hours
FROM counted AS c
INNER JOIN spell_seasons AS s ON c.spell_no = s.spell_no
GROUP BY ALL
ORDER BY c.reading, s.cell
