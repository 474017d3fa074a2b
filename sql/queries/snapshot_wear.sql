-- One row a piece of known age with readings, and their sums. Readings chosen because they looked
-- suspect stay out of the sums; the last reading is the last of all.
WITH sums AS (
    SELECT
        a.piece,
        count(*) FILTER (NOT a.is_suspect) AS n,
        sum(a.wear_mm) FILTER (NOT a.is_suspect) AS sy,
        sum(a.wear_mm * a.wear_mm) FILTER (NOT a.is_suspect) AS syy,
        max(a.age) AS last_age,
        max_by(a.wear_mm, (a.moment, a.wear_mm)) AS last_mm
    FROM aged AS a
    WHERE NOT a.is_set AND a.age IS NOT NULL
    GROUP BY a.piece
)

SELECT
    s.piece,
    p.machine,
    p.position,
    p.part_type,
    p.duty_group,
    s.n::BIGINT AS n,
    s.sy::DOUBLE AS sy,
    s.syy::DOUBLE AS syy,
    s.last_age::DOUBLE AS last_age,
    s.last_mm::DOUBLE AS last_mm,
    p.age::DOUBLE AS age,
    p.in_place,
    p.fitted_known,
    coalesce(l.grade, '') AS grade
FROM sums AS s
INNER JOIN pieces AS p ON s.piece = p.piece
LEFT JOIN limits AS l ON p.part_type = l.part_type
WHERE s.n > 0
ORDER BY p.machine, p.place, try_cast(p.position AS INTEGER), p.position, p.start_moment, p.piece
