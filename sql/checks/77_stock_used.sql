-- Between two counts more or fewer new pieces left the stock than change-outs took, logged or
-- assumed: by more than three, and by more than a tenth.
-- Default: as logged (nothing changes).
CREATE OR REPLACE TEMP TABLE stock_used AS
WITH assumed AS (
    SELECT
        s.part_type,
        s.from_moment,
        count(*) AS quantity
    FROM stock_spans AS s
    INNER JOIN unlogged_change_out AS u
        ON
            s.part_type = u.part_type
            AND s.from_moment < u.moment
            AND s.to_moment >= u.moment
    WHERE u.acts
    GROUP BY s.part_type, s.from_moment
),

compared AS (
    SELECT
        s.*,
        coalesce(a.quantity, 0) AS assumed
    FROM stock_spans AS s
    LEFT JOIN assumed AS a ON s.part_type = a.part_type AND s.from_moment = a.from_moment
),

named AS (
    SELECT
        c.*,
        doubt_id(
            'stock used', c.part_type, concat_ws('|', c.from_moment::DATE, c.to_moment::DATE)
        ) AS id
    FROM compared AS c
    WHERE
        abs(c.used - c.logged - c.assumed)
        > greatest(3, 0.1 * greatest(c.used, c.logged + c.assumed))
)

SELECT
    n.id,
    'stock used' AS rule,
    NULL::VARCHAR AS machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    n.part_type,
    n.to_moment AS taken_at,
    printf(
        'from %s to %s: stock used %d, change-outs logged %d%s', n.from_moment::DATE::VARCHAR,
        n.to_moment::DATE::VARCHAR, n.used, n.logged,
        CASE WHEN n.assumed > 0 THEN printf(', assumed %d', n.assumed) ELSE '' END
    ) AS what,
    CASE
        WHEN n.used > n.logged + n.assumed
            THEN 'look for change-outs that nobody wrote down, or that were set aside'
        ELSE 'look for deliveries or counts that nobody wrote down'
    END AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.part_type, n.to_moment
