-- Readings found ok or over, as bounds of the wear depth. Those of a set belong to no known piece.
SELECT
    b.bound,
    b.machine,
    b.position,
    b.part_type,
    b.duty_group,
    b.reading_day::TIMESTAMP AS day,
    b.age::DOUBLE AS age,
    b.low_mm,
    b.high_mm,
    CASE WHEN b.is_set THEN '' ELSE b.piece END AS piece,
    CASE WHEN b.is_set THEN concat_ws(' ', b.machine, b.piece, b.reading_day) ELSE '' END AS visit,
    coalesce(b.chosen, 'all') = 'suspect' AS suspect
FROM bounds AS b
ORDER BY b.machine, b.reading_day, b.position, b.bound
