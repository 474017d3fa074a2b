-- Hours (thousands) that the pieces of the visited set had run in each season and phase on average:
-- those of the set, less what the pieces replaced had run before.
SELECT
    r.subject AS visit,
    r.cell AS season,
    r.x
FROM run_then AS r
WHERE r.what = 'visit'
ORDER BY r.subject, r.cell_no
