-- The seasons and their phases, in the order in which they began.
SELECT DISTINCT
    m.cell,
    m.season,
    m.phase,
    m.cell_no
FROM season_meter AS m
ORDER BY m.cell_no
