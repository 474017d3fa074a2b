-- What each piece wore between two of its readings of one kind, from none where it was new, how
-- much of it the gauge explains, and whether either reading may stand for another position.
CREATE OR REPLACE TEMP TABLE strides AS
WITH exchanged AS (
    SELECT
        s.machine,
        s.place,
        unnest([s.fallen, s.risen]) AS position,
        s.reading_day
    FROM swapped_positions AS s
    WHERE s.state = 'open'
),

in_time AS (
    SELECT
        a.spell_no,
        a.machine,
        a.place,
        a.position,
        a.part_type,
        a.duty_group,
        a.taken_at,
        a.moment,
        a.reading_kind,
        a.age::DOUBLE AS age,
        a.wear_mm::DOUBLE AS wear_mm,
        coalesce(lag(a.age::DOUBLE) OVER of_piece, 0) AS age_before,
        coalesce(lag(a.wear_mm::DOUBLE) OVER of_piece, 0) AS wear_before,
        lag(a.moment) OVER of_piece IS NULL AS is_first,
        e.machine IS NOT NULL AS may_be_swapped,
        coalesce(lag(e.machine IS NOT NULL) OVER of_piece, FALSE) AS may_have_been,
        row_number() OVER of_piece AS reading_no,
        count(*) OVER (PARTITION BY a.spell_no, a.reading_kind) AS readings
    FROM aged AS a
    LEFT JOIN exchanged AS e
        ON
            a.machine = e.machine
            AND a.place = e.place
            AND a.position = e.position
            AND a.moment::DATE = e.reading_day
    WHERE NOT a.is_set AND a.age IS NOT NULL
    WINDOW of_piece AS (
        PARTITION BY a.spell_no, a.reading_kind ORDER BY a.moment, a.wear_mm, a.file, a.file_line
    )
),

usual AS (
    SELECT
        i.part_type,
        i.duty_group,
        median(i.wear_mm / i.age) AS usual_rate
    FROM in_time AS i
    WHERE i.age > 0
    GROUP BY i.part_type, i.duty_group
)

SELECT
    i.*,
    u.usual_rate,
    greatest(3 * sqrt(2) * l.gauge_guess_mm, l.wear_limit_mm::DOUBLE / 20, 0.05) AS explained_mm,
    (i.wear_mm - i.wear_before) / nullif(i.age - i.age_before, 0) AS rate
FROM in_time AS i
INNER JOIN limits AS l ON i.part_type = l.part_type
INNER JOIN usual AS u ON i.part_type = u.part_type AND i.duty_group = u.duty_group
ORDER BY i.spell_no, i.reading_kind, i.moment, i.reading_no
