-- Hours (thousands) that a piece or set of unknown age ran in each season and phase since the
-- watch began.
SELECT
    r.subject AS visit,
    r.cell AS season,
    r.x
FROM run_then AS r
WHERE r.what = 'unaged'
ORDER BY r.subject, r.cell_no
