-- The wear rate of a piece rose more than three times from one half of its readings to the other,
-- whatever the gauge may add or hide: a cause to find. (Not where two values may be exchanged.)
-- Default: as logged (it counts).
CREATE OR REPLACE TEMP TABLE rate_jump AS
WITH halves AS (
    SELECT
        s.spell_no,
        s.machine,
        s.place,
        s.position,
        s.part_type,
        s.reading_kind,
        max(s.explained_mm) AS explained_mm,
        min_by(s.age, s.reading_no) AS first_age,
        min_by(s.wear_mm, s.reading_no) AS first_mm,
        max_by(s.age, s.reading_no) FILTER (s.reading_no <= (s.readings + 1) // 2) AS middle_age,
        max_by(s.wear_mm, s.reading_no) FILTER (s.reading_no <= (s.readings + 1) // 2) AS middle_mm,
        max_by(s.taken_at, s.reading_no) FILTER (s.reading_no <= (s.readings + 1) // 2)
            AS taken_at,
        max_by(s.may_be_swapped, s.reading_no) FILTER (s.reading_no <= (s.readings + 1) // 2)
            AS middle_may_be_swapped,
        max_by(s.age, s.reading_no) AS last_age,
        max_by(s.wear_mm, s.reading_no) AS last_mm
    FROM strides AS s
    WHERE s.readings >= 4
    GROUP BY s.spell_no, s.machine, s.place, s.position, s.part_type, s.reading_kind
),

rates AS (
    SELECT
        h.*,
        greatest(h.middle_mm - h.first_mm, 0) / (h.middle_age - h.first_age) AS rate_before,
        greatest(h.middle_mm - h.first_mm + h.explained_mm, 0) / (h.middle_age - h.first_age)
            AS most_before,
        (h.last_mm - h.middle_mm) / (h.last_age - h.middle_age) AS rate_after,
        (h.last_mm - h.middle_mm - h.explained_mm) / (h.last_age - h.middle_age) AS least_after
    FROM halves AS h
    WHERE h.middle_age > h.first_age AND h.last_age > h.middle_age
),

named AS (
    SELECT
        r.*,
        doubt_id(
            'rate jump',
            concat_ws('|', r.machine, r.place, r.position, r.reading_kind),
            r.taken_at
        ) AS id
    FROM rates AS r
    WHERE
        NOT r.middle_may_be_swapped
        AND r.least_after > 3 * r.rate_before
        AND r.least_after > r.most_before
)

SELECT
    n.id,
    'rate jump' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf(
        'from %.3g to %.3g um/h after this reading', n.rate_before * 1000, n.rate_after * 1000
    ) AS what,
    'a cause to find: load, alignment, medium, another grade' AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.taken_at, n.id
