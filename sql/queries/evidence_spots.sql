-- Where one can ask how a decision came about: positions whose pieces are followed one by one, and
-- sets, with the positions they fill and the unit that each kind of set is.
SELECT
    s.machine,
    s.place,
    s.position,
    s.part_type,
    FALSE AS is_set,
    '' AS unit,
    '' AS kit,
    FALSE AS in_place,
    [s.position] AS positions
FROM slots AS s
UNION ALL
SELECT
    p.machine,
    p.place,
    '' AS position,
    p.part_type,
    TRUE AS is_set,
    p.unit,
    coalesce(p.kit, '') AS kit,
    coalesce(f.in_place, FALSE) AS in_place,
    position_names(p.positions) AS positions
FROM places AS p
LEFT JOIN pieces AS f ON p.unit = f.piece AND p.machine = f.machine AND p.place = f.place
WHERE p.is_set
ORDER BY machine, place, is_set, try_cast(position AS INTEGER), position, part_type, unit
