-- A piece is fitted in a position from which the one before was not removed (that one may stand
-- there since the watch began), or two pieces are fitted there at one time.
-- Default: as logged (the piece before ended then; both spares were used).
CREATE OR REPLACE TEMP TABLE two_parts AS
WITH events AS (
    SELECT
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.moment,
        c.action,
        c.whole_day,
        s.first_moment,
        s.start_state,
        count(*) AS rows_logged,
        count(DISTINCT coalesce(c.piece, '')) AS pieces_named
    FROM changes AS c
    INNER JOIN slots AS s
        ON c.machine = s.machine AND c.place = s.place AND c.position = s.position
    WHERE
        NOT c.is_set
        AND c.moment >= s.first_moment
        AND c.moment < coalesce(s.end_moment, TIMESTAMP '9999-12-31')
    GROUP BY ALL
),

in_time AS (
    SELECT
        e.*,
        coalesce(
            lag(e.action) OVER of_slot,
            CASE
                WHEN e.start_state IS NOT NULL AND e.moment::DATE > e.first_moment::DATE
                    THEN 'watched'
            END
        ) AS action_before,
        coalesce(lag(e.moment) OVER of_slot, e.first_moment) AS moment_before
    FROM events AS e
    WINDOW of_slot AS (
        PARTITION BY e.machine, e.place, e.position ORDER BY e.moment, e.action
    )
),

doubtful AS (
    SELECT
        i.*,
        CASE
            WHEN i.rows_logged > 1 THEN 'twice'
            WHEN i.action = 'fitted' AND i.action_before <> 'removed' THEN 'occupied'
        END AS how
    FROM in_time AS i
    WHERE i.action IN ('fitted', 'replaced')
),

named AS (
    SELECT
        d.*,
        doubt_id(
            'two parts in one position',
            concat_ws('|', d.machine, d.place, d.position, d.action),
            d.moment
        ) AS id
    FROM doubtful AS d
    WHERE d.how IS NOT NULL
)

SELECT
    n.id,
    'two parts in one position' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.moment AS taken_at,
    CASE
        WHEN n.how = 'twice'
            THEN printf('%d rows say `%s` on %s', n.rows_logged, n.action, n.moment::DATE::VARCHAR)
        ELSE printf(
            'a piece is fitted on %s where one stands since %s',
            n.moment::DATE::VARCHAR, n.moment_before::DATE::VARCHAR
        )
    END AS what,
    CASE
        WHEN n.how = 'twice' THEN 'count one of them'
        ELSE 'leave this fitting out: the piece before stays'
    END AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_logged') AS acts,
    n.how,
    n.action,
    n.moment
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment
