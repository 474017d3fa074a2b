-- Hours run by each reading of the pieces that tell how wear grows, by season and phase (cell): one
-- row a reading and cell. Those are pieces read three times and more, of each part type the 1000
-- read last: sums can't answer these questions, and more pieces would not change the answer.
WITH counted AS (
    SELECT
        a.spell_no,
        a.machine,
        a.piece,
        p.part_type,
        p.duty_group,
        a.moment,
        a.taken_at,
        a.wear_mm,
        a.file,
        a.file_line,
        a.copy_no,
        a.meter_hours::DOUBLE AS meter_hours,
        count(*) OVER (PARTITION BY a.piece) AS readings,
        max(a.moment) OVER (PARTITION BY a.piece) AS last_moment
    FROM aged AS a
    INNER JOIN pieces AS p ON a.piece = p.piece
    WHERE NOT a.is_set AND NOT a.is_suspect AND a.age IS NOT NULL
),

telling AS (
    SELECT c.*
    FROM counted AS c
    WHERE c.readings >= 3
    QUALIFY dense_rank() OVER (
        PARTITION BY c.part_type, c.duty_group ORDER BY c.last_moment DESC, c.piece ASC
    ) <= 1000
),

numbered AS (
    SELECT
        t.*,
        row_number() OVER (
            ORDER BY t.piece, t.moment, t.wear_mm, t.file, t.file_line, t.copy_no
        ) AS reading
    FROM telling AS t
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
FROM numbered AS c
INNER JOIN spell_seasons AS s ON c.spell_no = s.spell_no
GROUP BY ALL
ORDER BY c.reading, s.cell
