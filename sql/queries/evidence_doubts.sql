-- Doubts that touch one position or set: its own, those of its whole machine, and those of its
-- part type everywhere. own says that it names this very position or set.
-- $machine, $place, $position, $part_type: where and what; $unit: the set, or ''.
WITH exchanged AS (
    SELECT
        s.id,
        s.risen
    FROM swapped_positions AS s
    WHERE s.machine = $machine AND s.place = $place
)

SELECT DISTINCT
    d.id,
    d.rule,
    d.taken_at,
    d.what,
    d.proposal,
    d.by_default,
    d.state,
    d.note,
    d.machine = $machine AND (d.position <> '' OR $position = '') AS own
FROM doubts AS d
LEFT JOIN exchanged AS e ON d.id = e.id
WHERE
    (
        d.machine = $machine
        AND coalesce(d.place, $place) IN ($place, $unit, '')
        AND (d.position IN ('', $position) OR e.risen = $position)
        AND d.part_type IN ('', $part_type)
    )
    OR (d.machine = '' AND d.part_type = $part_type)
ORDER BY d.taken_at, d.rule, d.id, d.what
