-- Readings without a value: found ok, so below the limit, or over it; with the piece or set, and
-- its age. They bound the wear depth from above or below.
CREATE OR REPLACE TEMP TABLE bounds AS
WITH found AS (
    SELECT s.*
    FROM seen AS s
    WHERE s.value_mm IS NULL
),

seated AS (
    SELECT
        f.import_no,
        f.file,
        f.file_line,
        f.copy_no,
        f.result,
        f.taken_at,
        f.reading_day,
        f.moment,
        f.chosen,
        p.spell_no,
        p.machine,
        p.place,
        f.position,
        p.part_type,
        p.duty_group,
        p.piece,
        p.is_set,
        p.quantity,
        p.first_age,
        p.hours_in_earlier,
        p.meter_start,
        p.meter_clock,
        p.clock_per_hour
    FROM found AS f
    ASOF INNER JOIN spells AS p
        ON
            f.machine = p.machine
            AND f.place = p.place
            AND p.position = CASE WHEN f.is_set THEN '' ELSE f.position END
            AND f.moment >= p.start_moment
    WHERE
        f.moment < p.stop_moment
        AND (NOT p.is_set OR p.part_type = f.part_type)
        AND (NOT p.is_set OR coalesce(f.kit, p.piece) = p.piece)
),

metered AS (
    SELECT
        s.*,
        (
            m.hours_before + m.hours * epoch(s.moment - s.reading_day::TIMESTAMP) / 86400
        )::DECIMAL(14, 2) AS meter_hours
    FROM seated AS s
    CROSS JOIN meter_days AS d
    INNER JOIN meter AS m
        ON
            s.machine = m.machine
            AND s.meter_clock = m.clock
            AND m.run_date = greatest(d.first_day, least(s.reading_day, d.final_day))
)

SELECT
    left(
        md5(concat_ws('|', m.machine, m.place, m.position, m.piece, m.moment, m.file, m.file_line)),
        12
    ) || '-' || m.copy_no::VARCHAR AS bound,
    m.*,
    (
        m.first_age + m.hours_in_earlier
        + greatest(m.meter_hours - m.meter_start, 0) * m.clock_per_hour
    )::DECIMAL(12, 2) AS age,
    CASE WHEN m.result = 'over' THEN l.wear_limit_mm::DOUBLE ELSE '-infinity'::DOUBLE END AS low_mm,
    CASE WHEN m.result = 'over' THEN 'infinity'::DOUBLE ELSE l.wear_limit_mm::DOUBLE END AS high_mm
FROM metered AS m
INNER JOIN limits AS l ON m.part_type = l.part_type
WHERE l.wear_limit_mm IS NOT NULL
ORDER BY m.machine, m.place, m.position, m.moment, m.file, m.file_line, m.copy_no
