-- Wear fell on a strip, or on a part with two sides, and the stock counts around it tell of no
-- spare that the change-outs do not: it was turned, and nobody wrote it down.
-- Default: as logged (the readings stand as they are, of one side).
CREATE OR REPLACE TEMP TABLE flipped_strip AS
WITH turned AS (
    SELECT f.*
    FROM fallen AS f
    INNER JOIN limits AS l ON f.part_type = l.part_type
    INNER JOIN stock_spans AS s
        ON
            f.part_type = s.part_type
            AND f.before_moment > s.from_moment
            AND f.moment <= s.to_moment + INTERVAL 1 DAY
    WHERE (l.sides = 2 OR l.form = 'strip') AND s.used <= s.logged
),

named AS (
    SELECT
        t.*,
        doubt_id(
            'flipped strip',
            concat_ws('|', t.machine, t.place, t.position),
            concat_ws('|', t.before_moment::DATE, t.reading_day)
        ) AS id
    FROM turned AS t
)

SELECT
    n.id,
    'flipped strip' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf(
        '%.2f mm less than on %s, and no spare is missing from stock',
        n.fall_mm, n.before_moment::DATE::VARCHAR
    ) AS what,
    printf(
        'it was turned between %s and %s', n.before_moment::DATE::VARCHAR, n.reading_day::VARCHAR
    ) AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_logged') AS acts,
    n.before_moment AS moment_from,
    CASE
        WHEN d.settled_at > n.before_moment AND d.settled_at < n.moment THEN d.settled_at
        ELSE date_trunc('second', n.before_moment + (n.moment - n.before_moment) / 2)
    END AS moment,
    n.moment AS moment_until
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment
