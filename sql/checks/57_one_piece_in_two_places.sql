-- A piece or kit is fitted in one place although it was not removed from another.
-- Default: as logged (it counts in both).
CREATE OR REPLACE TEMP TABLE one_piece_in_two_places AS
WITH begun AS (
    SELECT
        e.machine,
        e.place,
        e.position,
        e.part_type,
        e.piece,
        e.moment AS start_moment,
        e.action,
        lead(e.moment) OVER (
            PARTITION BY e.machine, e.place, e.position ORDER BY e.moment, e.action
        ) AS end_moment
    FROM slot_events AS e
    UNION ALL
    SELECT
        e.machine,
        e.place,
        NULL::VARCHAR AS position,
        e.part_type,
        e.unit AS piece,
        e.moment AS start_moment,
        e.action,
        lead(e.moment) OVER (
            PARTITION BY e.machine, e.place ORDER BY e.moment, e.action, e.unit
        ) AS end_moment
    FROM set_events AS e
),

stays AS (
    SELECT
        b.*,
        lead(b.start_moment) OVER of_piece AS next_moment,
        lead(b.machine) OVER of_piece AS next_machine,
        lead(b.place) OVER of_piece AS next_place,
        lead(b.position) OVER of_piece AS next_position
    FROM begun AS b
    WHERE b.piece IS NOT NULL AND b.action IN ('watched', 'fitted', 'replaced')
    WINDOW of_piece AS (
        PARTITION BY b.piece ORDER BY b.start_moment, b.machine, b.place, b.position
    )
),

named AS (
    SELECT
        s.*,
        doubt_id(
            'one piece in two places',
            concat_ws('|', s.piece, s.machine, s.place, s.position, s.next_machine),
            concat_ws('|', s.start_moment, s.next_moment)
        ) AS id
    FROM stays AS s
    WHERE
        s.next_moment < coalesce(s.end_moment, TIMESTAMP '9999-12-31')
        AND (
            s.machine <> s.next_machine OR s.place <> s.next_place
            OR s.position IS DISTINCT FROM s.next_position
        )
)

SELECT
    n.id,
    'one piece in two places' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.next_moment AS taken_at,
    printf(
        '%s is fitted on %s, %s, and was not removed here',
        n.piece, n.next_machine, concat_ws(' ', n.next_place, n.next_position)
    ) AS what,
    printf('it left here on %s', n.next_moment::DATE::VARCHAR) AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_logged') AS acts,
    n.start_moment,
    n.next_moment AS leaves_at
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.start_moment
