-- A reading names a position, type or kit at a time when nothing of it was in place there: before
-- the watch began, after it ended, or of a set that was off the machine.
-- Default: as proposed (it does not count).
CREATE OR REPLACE TEMP TABLE no_piece_in_place AS
WITH stays AS (
    SELECT
        s.machine,
        s.place,
        s.position,
        s.start_moment,
        s.stop_moment,
        s.is_set AS of_set,
        s.part_type AS type_in_place,
        s.piece AS in_place
    FROM spells AS s
),

seated AS (
    SELECT
        r.machine,
        r.place,
        CASE WHEN r.is_set THEN '' ELSE r.position END AS position,
        r.part_type,
        r.kit,
        r.taken_at,
        r.reading_day,
        s.in_place,
        coalesce(
            r.moment < s.stop_moment
            AND (
                NOT s.of_set
                OR (s.type_in_place = r.part_type AND coalesce(r.kit, s.in_place) = s.in_place)
            ), FALSE
        ) AS counts
    FROM placed AS r
    ASOF LEFT JOIN stays AS s
        ON
            r.machine = s.machine
            AND r.place = s.place
            AND s.position = CASE WHEN r.is_set THEN '' ELSE r.position END
            AND r.moment >= s.start_moment
),

lost AS (
    SELECT
        s.machine,
        s.place,
        s.position,
        s.part_type,
        s.kit,
        s.reading_day,
        min(s.taken_at) AS taken_at,
        min(s.in_place) AS in_place,
        count(*) AS readings
    FROM seated AS s
    SEMI JOIN places AS p ON s.machine = p.machine AND s.place = p.place
    WHERE NOT s.counts
    GROUP BY s.machine, s.place, s.position, s.part_type, s.kit, s.reading_day
),

in_fleet AS (
    SELECT l.*
    FROM lost AS l
    LEFT JOIN slots AS p
        ON l.machine = p.machine AND l.place = p.place AND l.position = p.position
    WHERE l.position = '' OR p.position IS NOT NULL
),

named AS (
    SELECT
        f.*,
        doubt_id(
            'no piece in place',
            concat_ws('|', f.machine, f.place, f.position, f.part_type, f.kit),
            f.reading_day
        ) AS id
    FROM in_fleet AS f
)

SELECT
    n.id,
    'no piece in place' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf(
        '%d reading%s of %s on %s, when %s was in place',
        n.readings,
        CASE WHEN n.readings = 1 THEN '' ELSE 's' END,
        coalesce(n.kit, n.part_type),
        n.reading_day::VARCHAR,
        coalesce(n.in_place, 'nothing')
    ) AS what,
    'leave them out' AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.reading_day, n.id
