-- What was used of each part type between two counts of its new pieces: the count before, and what
-- came in, less the count after; beside it the spares that change-outs logged in that span took.
-- An order has come in when it is due, or as far as a later row says that less is still to come.
CREATE OR REPLACE TEMP TABLE stock_spans AS
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
),

spans AS (
    SELECT
        c.part_type,
        lag(c.taken_at) OVER in_time AS from_moment,
        c.taken_at AS to_moment,
        lag(c.quantity) OVER in_time AS counted_before,
        c.quantity AS counted_after
    FROM counts AS c
    WINDOW in_time AS (PARTITION BY c.part_type ORDER BY c.taken_at)
),

orders AS (
    SELECT
        d.part_type,
        coalesce(d.order_no, concat_ws('|', d.file, d.file_line, d.copy_no)) AS order_no,
        d.taken_at,
        CASE WHEN d.stock_state = 'cancelled' THEN 0 ELSE d.quantity END AS quantity,
        d.stock_state = 'cancelled' AS is_cancelled,
        d.due
    FROM dated AS d
    WHERE d.stock_state IN ('on_order', 'cancelled')
),

order_in_span AS (
    SELECT
        s.part_type,
        s.from_moment,
        o.order_no,
        max_by(
            CASE WHEN o.due IS NULL OR o.due > s.from_moment::DATE THEN o.quantity ELSE 0 END,
            o.taken_at
        ) FILTER (o.taken_at <= s.from_moment) AS still_to_come,
        min_by(o.quantity, o.taken_at) FILTER (o.taken_at > s.from_moment) AS ordered,
        max_by(
            CASE WHEN o.due IS NULL OR o.due > s.to_moment::DATE THEN o.quantity ELSE 0 END,
            o.taken_at
        ) AS still_to_come_after,
        max_by(o.is_cancelled, o.taken_at) AS is_cancelled
    FROM spans AS s
    INNER JOIN orders AS o ON s.part_type = o.part_type AND s.to_moment >= o.taken_at
    WHERE s.from_moment IS NOT NULL
    GROUP BY s.part_type, s.from_moment, o.order_no
),

received AS (
    SELECT
        o.part_type,
        o.from_moment,
        sum(greatest(
            coalesce(o.still_to_come, o.ordered, 0) - o.still_to_come_after, 0
        )) AS quantity
    FROM order_in_span AS o
    WHERE NOT o.is_cancelled
    GROUP BY o.part_type, o.from_moment
),

set_sizes AS (
    SELECT
        p.machine,
        p.place,
        p.part_type,
        max(p.quantity) AS quantity
    FROM places AS p
    GROUP BY p.machine, p.place, p.part_type
),

spares AS (
    SELECT
        c.part_type,
        c.moment,
        CASE WHEN c.is_set THEN c.quantity ELSE 1 END AS quantity
    FROM changes AS c
    LEFT JOIN set_sizes AS z
        ON c.machine = z.machine AND c.place = z.place AND c.part_type = z.part_type
    WHERE
        c.action = 'replaced'
        OR (
            c.action = 'fitted'
            AND coalesce(c.age_at_fit, 0) = 0
            AND NOT (
                c.is_set
                AND (
                    c.kit IS NOT NULL OR c.reason = 'size_change'
                    OR c.quantity >= coalesce(z.quantity, 0)
                )
            )
            AND NOT EXISTS (
                SELECT 1
                FROM changes AS e
                WHERE e.piece = c.piece AND e.moment < c.moment
            )
        )
),

logged AS (
    SELECT
        s.part_type,
        s.from_moment,
        sum(p.quantity) AS quantity
    FROM spans AS s
    INNER JOIN spares AS p
        ON
            s.part_type = p.part_type
            AND s.from_moment < p.moment
            AND s.to_moment >= p.moment
    GROUP BY s.part_type, s.from_moment
)

SELECT
    s.*,
    coalesce(r.quantity, 0)::BIGINT AS received,
    (s.counted_before + coalesce(r.quantity, 0) - s.counted_after)::BIGINT AS used,
    coalesce(l.quantity, 0)::BIGINT AS logged
FROM spans AS s
LEFT JOIN received AS r ON s.part_type = r.part_type AND s.from_moment = r.from_moment
LEFT JOIN logged AS l ON s.part_type = l.part_type AND s.from_moment = l.from_moment
WHERE s.from_moment IS NOT NULL
ORDER BY s.part_type, s.to_moment
