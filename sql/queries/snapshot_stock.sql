-- Stock of new pieces: the last count of each part type, and orders open since. An order due by the
-- day of the last count is taken to have come in with it.
WITH dated AS (
    SELECT s.*
    FROM stock AS s
    CROSS JOIN until_day AS u
    WHERE s.taken_at < u.last_moment AND coalesce(s.stock_condition, 'new') = 'new'
),

counts AS (
    SELECT
        d.part_type,
        d.taken_at,
        sum(d.quantity)::BIGINT AS quantity
    FROM dated AS d
    WHERE d.stock_state = 'on_hand'
    GROUP BY d.part_type, d.taken_at
    QUALIFY row_number() OVER (PARTITION BY d.part_type ORDER BY d.taken_at DESC) = 1
),

orders AS (
    SELECT d.*
    FROM dated AS d
    WHERE d.stock_state IN ('on_order', 'cancelled')
    QUALIFY
        d.order_no IS NULL
        OR row_number() OVER (
            PARTITION BY d.part_type, d.order_no
            ORDER BY d.taken_at DESC, d.import_no DESC, d.file DESC, d.file_line DESC
        ) = 1
)

SELECT
    c.part_type,
    'on_hand' AS state,
    c.quantity,
    NULL::TIMESTAMP AS due,
    c.taken_at::DATE::TIMESTAMP AS at
FROM counts AS c
UNION ALL
SELECT
    o.part_type,
    'on_order' AS state,
    o.quantity::BIGINT AS quantity,
    o.due::TIMESTAMP AS due,
    o.taken_at::DATE::TIMESTAMP AS at
FROM orders AS o
LEFT JOIN counts AS c ON o.part_type = c.part_type
WHERE
    o.stock_state = 'on_order'
    AND (o.due IS NULL OR c.taken_at IS NULL OR o.due > c.taken_at::DATE)
    AND o.quantity > 0
ORDER BY part_type, state, due NULLS FIRST, quantity
