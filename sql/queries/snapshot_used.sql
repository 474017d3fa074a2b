-- Spare pieces used, by day: new pieces put in where one was before, and pieces replaced in sets.
-- Turning a part uses none, nor do the pieces with which a position or a set began. planned says
-- that nothing had ended; of sets the logs do not tell.
WITH in_order AS (
    SELECT
        s.machine,
        s.place,
        s.position,
        s.part_type,
        s.start_moment::DATE AS used_day,
        s.begun_by,
        s.stay_no,
        s.stated_age,
        s.spell_no,
        lag(s.end_reason) OVER (
            PARTITION BY s.machine, s.place, s.position ORDER BY s.spell_no
        ) AS reason,
        row_number() OVER (
            PARTITION BY s.machine, s.place, s.position ORDER BY s.spell_no
        ) AS place_no
    FROM spells AS s
    WHERE NOT s.is_set
),

set_places AS (
    SELECT
        s.piece,
        min(s.place) AS place
    FROM spells AS s
    WHERE s.is_set
    GROUP BY s.piece
),

used AS (
    SELECT
        i.part_type,
        i.machine,
        i.place,
        i.position,
        i.used_day,
        coalesce(i.reason IN ('planned', 'opportunistic'), FALSE) AS planned,
        1 AS quantity
    FROM in_order AS i
    WHERE
        i.place_no > 1
        AND i.begun_by IN ('fitted', 'replaced', 'unlogged')
        AND i.stay_no = 1
        AND coalesce(i.stated_age, 0) = 0
    UNION ALL
    SELECT
        c.part_type,
        c.machine,
        coalesce(p.place, '') AS place,
        '' AS position,
        c.moment::DATE AS used_day,
        FALSE AS planned,
        c.replaced AS quantity
    FROM set_changes AS c
    LEFT JOIN set_places AS p ON c.unit = p.piece
)

SELECT
    u.part_type,
    u.machine,
    u.place,
    u.position,
    u.used_day::TIMESTAMP AS day,
    u.planned,
    sum(u.quantity)::BIGINT AS quantity
FROM used AS u
GROUP BY ALL
ORDER BY u.part_type, day, u.machine, u.place, u.position, u.planned
