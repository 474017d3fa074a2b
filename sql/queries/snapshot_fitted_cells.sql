-- Hours (thousands) each piece in service has run in each season so far; none where unknown.
SELECT
    c.piece,
    c.season,
    ((c.base_hours + c.hours) / 1000)::DOUBLE AS x
FROM spell_seasons AS c
INNER JOIN pieces AS p ON c.spell_no = p.spell_no
SEMI JOIN in_service AS f ON c.piece = f.piece
WHERE p.first_age IS NOT NULL
ORDER BY c.piece, c.season_no
