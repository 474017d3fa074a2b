-- A piece wore more than ten times as fast as its part type usually does, beyond what the gauge and
-- the bedding-in of a new piece explain. (Not where two values may be exchanged.)
-- Default: as logged (it counts).
CREATE OR REPLACE TEMP TABLE impossible_rate AS
WITH named AS (
    SELECT
        s.*,
        doubt_id(
            'impossible rate',
            concat_ws('|', s.machine, s.place, s.position, s.reading_kind),
            s.moment
        ) AS id
    FROM strides AS s
    WHERE
        s.usual_rate > 0
        AND NOT s.may_be_swapped
        AND NOT s.may_have_been
        AND s.wear_mm - s.wear_before
        > 10 * s.usual_rate * (s.age - s.age_before)
        + s.explained_mm * CASE WHEN s.is_first THEN 3 ELSE 2 END
)

SELECT
    n.id,
    'impossible rate' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf(
        '%.2f mm in %.0f h, where %.2f mm is usual',
        n.wear_mm - n.wear_before,
        n.age - n.age_before,
        n.usual_rate * (n.age - n.age_before)
    ) AS what,
    'look for a slip of the pen, or another piece' AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment, n.id
