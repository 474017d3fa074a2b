-- Readings of the 24 pieces of each part type in place that are nearest their limit.
WITH nearest AS (
    SELECT
        p.piece,
        p.part_type
    FROM pieces AS p
    INNER JOIN (
        SELECT
            a.piece,
            max_by(a.wear_mm, (a.moment, a.wear_mm)) AS last_mm
        FROM aged AS a
        WHERE a.age IS NOT NULL AND NOT a.is_set
        GROUP BY a.piece
    ) AS a ON p.piece = a.piece
    WHERE p.in_place AND p.readings > 0
    QUALIFY row_number() OVER (PARTITION BY p.part_type ORDER BY a.last_mm DESC, p.piece ASC) <= 24
)

SELECT
    n.part_type,
    a.piece,
    a.machine,
    a.position,
    a.taken_at AS at,
    a.age::DOUBLE AS age,
    a.wear_mm::DOUBLE AS wear_mm,
    a.correction_mm::DOUBLE AS correction_mm
FROM nearest AS n
INNER JOIN aged AS a ON n.piece = a.piece
WHERE a.age IS NOT NULL
ORDER BY
    n.part_type, a.piece, a.moment, a.wear_mm, a.file, a.file_line, a.copy_no
