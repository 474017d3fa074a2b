-- What a row of the logs means by its machine, place, part type and kit: the one place on that
-- machine which fits all of them. What fits none or several is not here, and serves nothing.
CREATE OR REPLACE TEMP TABLE resolved AS
WITH kits AS (
    SELECT
        k.kit,
        min(k.part_type) AS part_type
    FROM (
        SELECT
            p.kit,
            p.part_type
        FROM places AS p
        UNION ALL
        SELECT
            c.kit,
            c.part_type
        FROM change_outs AS c
    ) AS k
    WHERE k.kit IS NOT NULL
    GROUP BY k.kit
),

said AS (
    SELECT
        c.machine,
        c.place,
        c.part_type,
        c.kit
    FROM change_outs AS c
    GROUP BY ALL
    UNION
    SELECT
        r.machine,
        r.place,
        r.part_type,
        r.kit
    FROM readings AS r
    GROUP BY ALL
)

SELECT
    s.machine,
    s.place AS said_place,
    s.part_type AS said_type,
    s.kit,
    min(p.place) AS place,
    coalesce(
        s.part_type,
        min(k.part_type),
        CASE WHEN count(DISTINCT p.part_type) = 1 THEN min(p.part_type) END
    ) AS part_type,
    bool_or(p.is_set) AS is_set
FROM said AS s
LEFT JOIN kits AS k ON s.kit = k.kit
INNER JOIN places AS p
    ON
        s.machine = p.machine
        AND p.place = coalesce(s.place, p.place)
        AND p.part_type = coalesce(s.part_type, k.part_type, p.part_type)
GROUP BY s.machine, s.place, s.part_type, s.kit
HAVING count(DISTINCT p.place) = 1
ORDER BY s.machine, s.place, s.part_type, s.kit
