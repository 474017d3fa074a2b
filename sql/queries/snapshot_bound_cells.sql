-- Hours (thousands) run in each season and phase at each reading found ok or over.
SELECT
    r.subject AS bound,
    r.cell AS season,
    r.x
FROM run_then AS r
WHERE r.what = 'bound'
ORDER BY r.subject, r.cell_no
