-- Against which new size the sizes read on each piece were taken, and how far that may be off.
SELECT
    a.piece,
    a.part_type,
    a.reading_kind,
    max(a.new_mm) AS new_mm,
    max(a.new_sd_mm) AS sd_mm,
    min(a.new_from) AS told_by
FROM aged AS a
WHERE NOT a.is_set AND a.new_from <> ''
GROUP BY a.piece, a.part_type, a.reading_kind
ORDER BY a.piece, a.part_type, a.reading_kind
