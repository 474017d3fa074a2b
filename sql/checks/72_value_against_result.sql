-- A reading says ok and has a value at the limit or over it, or says over with a value below.
-- Default: as proposed (the value counts).
CREATE OR REPLACE TEMP TABLE value_against_result AS
WITH named AS (
    SELECT
        a.*,
        doubt_id(
            'value against result',
            concat_ws('|', a.machine, a.place, a.position, a.reading_kind),
            concat_ws('|', a.moment, a.value_mm, a.result)
        ) AS id
    FROM aged AS a
    INNER JOIN limits AS l ON a.part_type = l.part_type
    WHERE
        (a.result = 'ok' AND a.wear_mm >= l.wear_limit_mm)
        OR (a.result = 'over' AND a.wear_mm < l.wear_limit_mm)
)

SELECT
    n.id,
    'value against result' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf('it says `%s` and shows a wear of %.2f mm', n.result, n.wear_mm) AS what,
    'the value counts' AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment, n.id
