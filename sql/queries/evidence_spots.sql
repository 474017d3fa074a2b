-- Where one can ask how a decision came about: positions whose pieces are followed one by one, and
-- sets, with the positions they fill; unit is the set's name, its kit's where it has one.
WITH known_sets AS (
    SELECT
        p.machine,
        p.place,
        p.part_type,
        p.piece AS unit,
        p.in_place
    FROM pieces AS p
    WHERE p.is_set
    UNION
    SELECT
        s.machine,
        s.place,
        s.part_type,
        s.piece AS unit,
        s.in_place
    FROM in_service AS s
    WHERE s.position = '' AND NOT s.in_place
),

filled AS (
    SELECT
        p.machine,
        p.place,
        p.part_type,
        max_by(position_names(p.positions), len(position_names(p.positions))) AS positions
    FROM places AS p
    WHERE p.is_set
    GROUP BY p.machine, p.place, p.part_type
)

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
    k.machine,
    k.place,
    '' AS position,
    k.part_type,
    TRUE AS is_set,
    k.unit,
    CASE WHEN k.unit = concat_ws(' ', k.machine, k.place, k.part_type) THEN '' ELSE k.unit END
        AS kit,
    k.in_place,
    coalesce(f.positions, []) AS positions
FROM known_sets AS k
LEFT JOIN filled AS f
    ON k.machine = f.machine AND k.place = f.place AND k.part_type = f.part_type
ORDER BY machine, place, is_set, try_cast(position AS INTEGER), position, part_type, unit
