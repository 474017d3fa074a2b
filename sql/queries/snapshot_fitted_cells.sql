-- Hours (thousands) each piece in service has run in each season and phase so far; none where
-- unknown.
SELECT
    c.piece,
    c.cell AS season,
    (sum(c.base_hours + c.hours) / 1000)::DOUBLE AS x
FROM spell_seasons AS c
INNER JOIN pieces AS p ON c.spell_no = p.spell_no
SEMI JOIN in_service AS f ON c.piece = f.piece
WHERE p.first_age IS NOT NULL
GROUP BY c.piece, c.cell_no, c.cell
ORDER BY c.piece, c.cell_no
