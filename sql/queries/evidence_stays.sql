-- The stays of the pieces of one position, or of one set, oldest first; a piece that came from
-- elsewhere, or a kit, with its stays there too.
-- $machine, $place, $position: where; $unit: the set, '' where pieces are followed one by one.
WITH here AS (
    SELECT DISTINCT s.piece
    FROM spells AS s
    WHERE
        (s.machine = $machine AND s.place = $place AND s.position = $position AND NOT s.is_set)
        OR (s.is_set AND s.piece = $unit)
)

SELECT
    s.piece,
    s.stay_no,
    s.machine,
    s.place,
    s.position,
    s.part_type,
    s.duty_group,
    s.quantity::BIGINT AS quantity,
    s.begun_by,
    s.start_moment,
    s.begun_from,
    s.end_moment,
    s.end_from,
    s.ended_by,
    s.end_reason,
    s.fitted_mm,
    s.stated_age::DOUBLE AS stated_age,
    s.first_age::DOUBLE AS first_age,
    s.hours::DOUBLE AS hours,
    s.meter_clock,
    s.lives_logged,
    p.in_place,
    p.mode,
    (s.first_age + s.hours_in_earlier + s.hours)::DOUBLE AS age,
    (p.end_from IS NOT NULL AND p.mode = '' AND p.ended_by = 'unlogged') AS ended_unlogged
FROM spells AS s
SEMI JOIN here AS h ON s.piece = h.piece
LEFT JOIN pieces AS p ON s.spell_no = p.spell_no
ORDER BY s.start_moment, s.piece, s.stay_no
