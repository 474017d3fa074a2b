-- The values of two positions of one machine are exchanged at one visit.
-- Default: as logged (each value counts where it was written).
CREATE OR REPLACE TEMP TABLE swapped_positions AS
WITH usual AS (
    SELECT
        f.*,
        greatest(median(-f.fall_mm) OVER (
            PARTITION BY f.machine, f.place, f.reading_day, f.reading_kind
        ), 0) AS usual_mm
    FROM falls AS f
),

pairs AS (
    SELECT
        f.machine,
        f.place,
        f.part_type,
        f.position AS fallen,
        r.position AS risen,
        f.taken_at,
        f.moment AS fallen_at,
        r.moment AS risen_at,
        f.before_moment::DATE AS before_day,
        f.reading_day,
        coalesce(
            f.after_mm - f.grown_mm > f.explained_mm + f.usual_mm
            OR r.grown_mm - r.after_mm > r.explained_mm, FALSE
        ) AS comes_back,
        f.before_mm AS fallen_before,
        f.grown_mm AS fallen_mm,
        r.before_mm AS risen_before,
        r.grown_mm AS risen_mm
    FROM usual AS f
    INNER JOIN usual AS r
        ON
            f.machine = r.machine
            AND f.place = r.place
            AND f.reading_day = r.reading_day
            AND f.reading_kind = r.reading_kind
            AND f.position <> r.position
    WHERE
        f.fall_mm > f.explained_mm
        AND abs(f.before_mm - r.before_mm) > f.explained_mm
        AND -r.fall_mm > r.explained_mm + r.usual_mm
        AND abs(f.grown_mm - r.before_mm - r.usual_mm) <= f.explained_mm + r.usual_mm
        AND abs(r.grown_mm - f.before_mm - f.usual_mm) <= r.explained_mm + f.usual_mm
    QUALIFY
        row_number() OVER (
            PARTITION BY f.machine, f.place, f.position, f.moment
            ORDER BY abs(f.grown_mm - r.before_mm) + abs(r.grown_mm - f.before_mm), r.position
        ) = 1
        AND row_number() OVER (
            PARTITION BY r.machine, r.place, r.position, r.moment
            ORDER BY abs(f.grown_mm - r.before_mm) + abs(r.grown_mm - f.before_mm), f.position
        ) = 1
),

named AS (
    SELECT
        p.*,
        doubt_id(
            'swapped positions',
            concat_ws(
                '|', p.machine, p.place, least(p.fallen, p.risen), greatest(p.fallen, p.risen)
            ),
            p.reading_day
        ) AS id
    FROM pairs AS p
    ANTI JOIN pairs AS earlier
        ON
            p.machine = earlier.machine
            AND p.place = earlier.place
            AND p.before_day = earlier.reading_day
            AND least(earlier.fallen, earlier.risen) = least(p.fallen, p.risen)
            AND greatest(earlier.fallen, earlier.risen) = greatest(p.fallen, p.risen)
)

SELECT
    n.id,
    'swapped positions' AS rule,
    n.machine,
    n.place,
    n.fallen AS position,
    n.part_type,
    n.taken_at,
    printf(
        'position %s went from %.2f to %.2f mm while position %s went from %.2f to %.2f mm',
        n.fallen, n.fallen_before, n.fallen_mm, n.risen, n.risen_before, n.risen_mm
    ) AS what,
    printf('exchange the readings of %s and %s', n.fallen, n.risen)
    || CASE WHEN n.comes_back THEN ' at this visit' ELSE ' from this visit on' END
        AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_logged') AS acts,
    n.fallen,
    n.risen,
    n.fallen_at,
    n.risen_at,
    n.reading_day,
    n.comes_back
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.fallen_at, n.fallen
