-- What a piece, or the pieces of a set on average, had run in each season and phase (thousands) at
-- a visit, at a reading found ok or over, or at a reading of unknown age (then since the watch
-- began). Pieces of a set that were replaced before had run less; where the set's age is unknown
-- that is left out.
CREATE OR REPLACE TEMP TABLE run_then AS
WITH subjects AS (
    SELECT
        'visit' AS what,
        v.visit AS subject,
        v.spell_no,
        v.unit,
        v.moment,
        v.meter_hours,
        v.quantity,
        TRUE AS less_replaced
    FROM visits AS v
    UNION ALL
    SELECT
        'bound' AS what,
        b.bound AS subject,
        b.spell_no,
        b.piece AS unit,
        b.moment,
        b.meter_hours,
        b.quantity,
        b.is_set AND b.age IS NOT NULL AS less_replaced
    FROM bounds AS b
    UNION ALL
    SELECT
        'unaged' AS what,
        u.visit AS subject,
        u.spell_no,
        u.piece AS unit,
        u.moment,
        u.meter_hours,
        u.quantity,
        FALSE AS less_replaced
    FROM unaged AS u
),

moments AS (
    SELECT
        s.what,
        s.subject,
        s.spell_no,
        s.meter_hours,
        1::BIGINT AS pieces,
        1::BIGINT AS of_pieces
    FROM subjects AS s
    UNION ALL
    SELECT
        s.what,
        s.subject,
        r.spell_no,
        r.meter_hours,
        -r.replaced AS pieces,
        greatest(s.quantity, 1)::BIGINT AS of_pieces
    FROM subjects AS s
    INNER JOIN set_renewals AS r ON s.unit = r.unit AND s.moment > r.moment
    WHERE s.less_replaced
),

in_cell AS (
    SELECT
        m.what,
        m.subject,
        m.of_pieces,
        c.cell,
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

by_pieces AS (
    SELECT
        i.what,
        i.subject,
        i.cell,
        i.cell_no,
        sum(i.hours) FILTER (i.of_pieces = 1) AS of_set,
        sum(i.hours) FILTER (i.of_pieces > 1) AS of_replaced,
        max(i.of_pieces) AS pieces
    FROM in_cell AS i
    GROUP BY i.what, i.subject, i.cell, i.cell_no
)

SELECT
    b.what,
    b.subject,
    b.cell,
    b.cell_no,
    (coalesce(b.of_set, 0)::DOUBLE + coalesce(b.of_replaced, 0)::DOUBLE / b.pieces) / 1000 AS x
FROM by_pieces AS b
WHERE b.of_set > 0
ORDER BY b.what, b.subject, b.cell_no
