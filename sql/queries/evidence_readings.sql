-- What was read at one position, or of one set, as it was written and as it counts: piece, age,
-- correction to 20 C and wear depth. Where piece is empty a reading does not count. A value that
-- was written at another position and counts here says so in written_at.
-- $machine, $place, $position: where; $unit: the set, '' where pieces are followed one by one.
WITH here AS (
    SELECT DISTINCT
        s.machine,
        s.place
    FROM spells AS s
    WHERE s.is_set AND s.piece = $unit
),

swaps AS (
    SELECT
        s.machine,
        s.place,
        s.reading_day,
        unnest([s.fallen, s.risen]) AS position,
        unnest([s.risen, s.fallen]) AS belongs_to,
        CASE WHEN s.comes_back THEN s.reading_day ELSE DATE '9999-12-31' END AS back_day
    FROM swapped_positions AS s
    WHERE s.acts
),

written AS (
    SELECT
        s.*,
        coalesce(w.belongs_to, s.position) AS belongs_to
    FROM seen AS s
    LEFT JOIN here AS h ON s.machine = h.machine AND s.place = h.place
    LEFT JOIN swaps AS w
        ON
            s.machine = w.machine
            AND s.place = w.place
            AND s.position = w.position
            AND s.reading_day BETWEEN w.reading_day AND w.back_day
    WHERE
        CASE
            WHEN s.is_set THEN h.machine IS NOT NULL
            ELSE s.machine = $machine AND s.place = $place
        END
),

counted AS (
    SELECT
        a.import_no,
        a.file,
        a.file_line,
        a.copy_no,
        a.machine,
        a.place,
        a.position,
        a.reading_kind,
        a.value_mm,
        a.piece,
        a.is_suspect,
        a.correction_mm::DOUBLE AS correction_mm,
        a.slip_mm,
        a.dry_less_mm,
        a.heat_mm,
        a.not_corrected,
        a.counts_twice,
        a.new_mm,
        a.new_from,
        a.new_sd_mm,
        a.age::DOUBLE AS age,
        a.wear_mm::DOUBLE AS wear_mm
    FROM aged AS a
    UNION ALL BY NAME
    SELECT
        b.import_no,
        b.file,
        b.file_line,
        b.copy_no,
        b.machine,
        b.place,
        b.position,
        b.piece,
        coalesce(b.chosen, 'all') = 'suspect' AS is_suspect,
        b.age::DOUBLE AS age
    FROM bounds AS b
)

SELECT
    w.import_no,
    w.file,
    w.file_line,
    w.copy_no,
    w.machine,
    w.position AS written_at,
    w.taken_at,
    w.whole_day,
    w.reading_kind,
    w.found_left,
    w.inspector,
    w.read_value,
    w.value_mm,
    w.unit,
    w.part_temperature_c,
    w.gauge_temperature_c,
    w.is_wet,
    w.is_set,
    w.belongs_to AS position,
    c.is_suspect,
    c.correction_mm,
    c.slip_mm,
    c.dry_less_mm,
    c.heat_mm,
    c.counts_twice,
    c.new_mm,
    c.new_sd_mm,
    c.age,
    c.wear_mm,
    coalesce(w.chosen, '') AS chosen,
    coalesce(w.result, '') AS result,
    coalesce(c.piece, '') AS piece,
    coalesce(c.not_corrected, '') AS not_corrected,
    coalesce(c.new_from, '') AS new_from
FROM written AS w
LEFT JOIN counted AS c
    ON
        w.import_no = c.import_no
        AND w.file = c.file
        AND w.file_line = c.file_line
        AND w.copy_no = c.copy_no
        AND w.machine = c.machine
        AND w.place = c.place
        AND w.value_mm IS NOT DISTINCT FROM c.value_mm
        AND (w.value_mm IS NULL OR w.reading_kind = c.reading_kind)
        AND w.belongs_to = c.position
WHERE
    CASE
        WHEN w.is_set THEN coalesce(c.piece, $unit) = $unit
        ELSE w.belongs_to = $position OR w.position = $position
    END
ORDER BY w.taken_at, w.moment, w.position, w.import_no, w.file, w.file_line, w.copy_no, w.value_mm
