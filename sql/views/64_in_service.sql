-- What is in service at the end of the last known day: pieces in place; sets in place or on the
-- shelf of their machine. An alternative of a set that was never fitted is on the shelf, its age
-- unknown unless the fleet states it; a kit that went to another machine is there and no longer
-- here.
CREATE OR REPLACE TEMP TABLE in_service AS
WITH named_units AS (
    SELECT
        p.machine,
        p.line,
        p.place,
        p.part_type,
        p.duty_group,
        p.unit,
        p.kit,
        p.quantity,
        p.start_age
    FROM places AS p
    CROSS JOIN until_day AS u
    WHERE
        p.is_set
        AND p.first_moment < u.last_moment
        AND coalesce(p.end_moment, u.last_moment) >= u.last_moment
),

standing AS (
    SELECT
        p.machine,
        p.line,
        p.place,
        p.position,
        p.part_type,
        p.duty_group,
        p.piece,
        CASE
            WHEN p.is_set AND p.piece <> concat_ws(' ', p.machine, p.place, p.part_type)
                THEN p.piece
            ELSE ''
        END AS kit,
        p.in_place,
        p.quantity::INTEGER AS quantity,
        p.age,
        p.readings > 0 AND p.age IS NOT NULL AND NOT p.is_set AS is_read
    FROM pieces AS p
    WHERE
        p.in_place
        OR (
            p.is_set
            AND EXISTS (
                SELECT 1
                FROM named_units AS n
                WHERE
                    n.machine = p.machine
                    AND n.place = p.place
                    AND n.part_type = p.part_type
            )
        )
)

SELECT s.*
FROM standing AS s
UNION ALL BY NAME
SELECT
    n.machine,
    coalesce(n.line, '') AS line,
    n.place,
    '' AS position,
    n.part_type,
    n.duty_group,
    n.unit AS piece,
    coalesce(n.kit, '') AS kit,
    FALSE AS in_place,
    n.quantity::INTEGER AS quantity,
    n.start_age AS age,
    FALSE AS is_read
FROM named_units AS n
WHERE NOT EXISTS (
    SELECT 1
    FROM standing AS s
    WHERE
        s.is_read IS NOT NULL
        AND (
            s.piece = n.unit
            OR (s.machine = n.machine AND s.place = n.place AND s.part_type = n.part_type)
        )
)
