-- Wear fell by more than the gauge explains, in a position without a logged change-out.
-- Default: as proposed (the piece ended between the two readings, and a new one began).
CREATE OR REPLACE TEMP TABLE unlogged_change_out AS
WITH named AS (
    SELECT
        f.*,
        doubt_id(
            'unlogged change-out',
            concat_ws('|', f.machine, f.place, f.position),
            concat_ws('|', f.before_moment::DATE, f.reading_day)
        ) AS id
    FROM fallen AS f
    ANTI JOIN flipped_strip AS s
        ON
            f.machine = s.machine
            AND f.place = s.place
            AND f.position = s.position
            AND f.moment = s.moment_until
)

SELECT
    n.id,
    'unlogged change-out' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf('%.2f mm less than on %s', n.fall_mm, n.before_moment::DATE::VARCHAR) AS what,
    printf(
        'a change-out between %s and %s',
        n.before_moment::DATE::VARCHAR, n.reading_day::VARCHAR
    ) AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts,
    n.before_moment AS moment_from,
    CASE
        WHEN d.settled_at > n.before_moment AND d.settled_at < n.moment THEN d.settled_at
        ELSE date_trunc('second', n.before_moment + (n.moment - n.before_moment) / 2)
    END AS moment,
    n.moment AS moment_until,
    coalesce(d.settled_at > n.before_moment AND d.settled_at < n.moment, FALSE) AS is_dated
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment
