-- Hours (thousands) that the pieces of the visited set had run in each season and phase on average:
-- those of the set, less what the pieces replaced had run before.
WITH moments AS (
    SELECT
        v.visit,
        v.spell_no,
        v.meter_hours,
        1::BIGINT AS pieces,
        1::BIGINT AS of_pieces
    FROM visits AS v
    UNION ALL
    SELECT
        v.visit,
        r.spell_no,
        r.meter_hours,
        -r.replaced AS pieces,
        greatest(v.quantity, 1)::BIGINT AS of_pieces
    FROM visits AS v
    INNER JOIN set_renewals AS r ON v.unit = r.unit AND v.moment > r.moment
),

run_then AS (
    SELECT
        m.visit,
        m.of_pieces,
        c.cell AS season,
        c.cell_no,
        m.pieces * (
            c.base_hours
            + (
                greatest(least(m.meter_hours::DOUBLE, c.high) - c.low, 0) * c.clock_per_hour
            )::DECIMAL(14, 2)
        ) AS hours
    FROM moments AS m
    INNER JOIN spell_seasons AS c ON m.spell_no = c.spell_no
),

run_by_pieces AS (
    SELECT
        r.visit,
        r.season,
        r.cell_no,
        sum(r.hours) FILTER (r.of_pieces = 1) AS of_set,
        sum(r.hours) FILTER (r.of_pieces > 1) AS of_replaced,
        max(r.of_pieces) AS pieces
    FROM run_then AS r
    GROUP BY r.visit, r.season, r.cell_no
)

SELECT
    r.visit,
    r.season,
    (coalesce(r.of_set, 0)::DOUBLE + coalesce(r.of_replaced, 0)::DOUBLE / r.pieces) / 1000 AS x
FROM run_by_pieces AS r
WHERE r.of_set > 0
ORDER BY r.visit, r.cell_no
