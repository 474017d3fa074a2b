-- Rows name a machine, part type or position that the fleet does not have, or no position where
-- pieces are followed one by one.
-- Default: as logged (the rows wait until the fleet has it).
CREATE OR REPLACE TEMP TABLE not_in_fleet AS
WITH machines AS (
    SELECT DISTINCT p.machine
    FROM places AS p
),

sizes AS (
    SELECT
        s.machine,
        s.place,
        count(*) AS positions
    FROM slots AS s
    GROUP BY s.machine, s.place
),

named_rows AS (
    SELECT
        r.machine,
        r.place,
        r.part_type,
        r.kit,
        position_name(r.position) AS position,
        NULL::INTEGER AS quantity,
        r.taken_at
    FROM readings AS r
    UNION ALL
    SELECT
        c.machine,
        c.place,
        c.part_type,
        c.kit,
        position_name(c.position) AS position,
        c.quantity,
        c.taken_at
    FROM change_outs AS c
    UNION ALL
    SELECT
        c.machine,
        NULL AS place,
        NULL AS part_type,
        NULL AS kit,
        NULL AS position,
        NULL AS quantity,
        c.taken_at
    FROM clocks AS c
    ANTI JOIN machines AS m ON c.machine = m.machine
),

judged AS (
    SELECT
        n.machine,
        CASE WHEN m.machine IS NULL THEN NULL ELSE coalesce(s.place, n.place) END AS place,
        CASE WHEN m.machine IS NULL THEN NULL ELSE n.part_type END AS part_type,
        CASE WHEN m.machine IS NULL OR s.place IS NULL THEN NULL ELSE n.position END
            AS position,
        m.machine IS NULL AS machine_unknown,
        s.place IS NULL AS place_unknown,
        n.taken_at
    FROM named_rows AS n
    LEFT JOIN machines AS m ON n.machine = m.machine
    LEFT JOIN resolved AS s
        ON
            n.machine = s.machine
            AND s.said_place IS NOT DISTINCT FROM n.place
            AND s.said_type IS NOT DISTINCT FROM n.part_type
            AND s.kit IS NOT DISTINCT FROM n.kit
    LEFT JOIN slots AS p
        ON n.machine = p.machine AND s.place = p.place AND n.position = p.position
    LEFT JOIN sizes AS z ON n.machine = z.machine AND s.place = z.place
    WHERE
        m.machine IS NULL
        OR s.place IS NULL
        OR (NOT s.is_set AND p.position IS NULL AND n.position IS NOT NULL)
        OR (
            NOT s.is_set AND n.position IS NULL
            AND coalesce(n.quantity, 1) BETWEEN 1 AND z.positions - 1
        )
),

unknown AS (
    SELECT
        j.machine,
        j.place,
        j.part_type,
        j.position,
        j.machine_unknown,
        j.place_unknown,
        count(*) AS rows_waiting,
        min(j.taken_at) AS taken_at
    FROM judged AS j
    GROUP BY ALL
),

nearest AS (
    SELECT
        u.machine,
        min_by(m.machine, (levenshtein(u.machine, m.machine), m.machine)) AS near
    FROM (SELECT DISTINCT machine FROM unknown WHERE machine_unknown) AS u
    INNER JOIN machines AS m
        ON
            length(u.machine) <= 2 * length(m.machine) + 1
            AND levenshtein(u.machine, m.machine) <= (length(u.machine) + 1) // 2
    GROUP BY u.machine
),

named AS (
    SELECT
        u.*,
        n.near,
        CASE
            WHEN u.rows_waiting = 1 THEN '1 row names'
            ELSE printf('%d rows name', u.rows_waiting)
        END AS rows_name,
        doubt_id(
            'not in the fleet', concat_ws('|', u.machine, u.place, u.part_type, u.position), ''
        ) AS id
    FROM unknown AS u
    LEFT JOIN nearest AS n ON u.machine = n.machine
)

SELECT
    n.id,
    'not in the fleet' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    CASE
        WHEN n.machine_unknown
            THEN printf('%s the machine %s', n.rows_name, n.machine)
        WHEN n.place_unknown
            THEN
                printf(
                    '%s no place that the fleet has, or tells apart, on %s: %s',
                    n.rows_name, n.machine, concat_ws(', ', n.place, n.part_type)
                )
        WHEN n.position IS NULL
            THEN printf(
                '%s no position of %s', n.rows_name,
                concat_ws(', ', n.machine, n.place)
            )
        ELSE printf(
            '%s the position %s of %s', n.rows_name, n.position,
            concat_ws(', ', n.machine, n.place)
        )
    END AS what,
    CASE
        WHEN n.near IS NOT NULL THEN printf('the nearest name is %s', n.near)
        ELSE 'add it to the fleet, or mend the rows'
    END AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.part_type, n.position
