-- A reading stands after the change-out of the piece that it is of: marked `removed` up to a week
-- later, or as worn as the old piece although the new one is read less later; or nothing is in the
-- position.
-- Default: as proposed (it counts to the piece that left; in an empty position it does not count).
CREATE OR REPLACE TEMP TABLE reading_after_removal AS
WITH events AS (
    SELECT
        c.machine,
        c.place,
        c.position,
        c.moment,
        max_by(c.action, (c.action <> 'removed', c.action)) AS action
    FROM changes AS c
    WHERE NOT c.is_set
    GROUP BY c.machine, c.place, c.position, c.moment
),

around AS (
    SELECT
        r.*,
        greatest(3 * sqrt(2) * r.gauge_guess_mm, r.wear_limit_mm / 20, 0.05) AS explained_mm,
        lag(r.grown_mm) OVER in_time AS before_mm,
        lag(r.stay_from) OVER in_time AS stay_before,
        lead(r.grown_mm) OVER in_time AS after_mm,
        lead(r.stay_from) OVER in_time AS stay_after,
        row_number() OVER (
            PARTITION BY r.machine, r.place, r.position, r.stay_from, r.reading_kind
            ORDER BY r.moment, r.grown_mm
        ) AS in_stay
    FROM rows_sized AS r
    WHERE NOT r.is_set
    WINDOW in_time AS (
        PARTITION BY r.machine, r.place, r.position, r.reading_kind
        ORDER BY r.moment, r.grown_mm, r.file, r.file_line
    )
),

late AS (
    SELECT
        a.*,
        e.action AS left_by,
        CASE
            WHEN a.found_left = 'removed' AND a.moment < a.stay_from + INTERVAL 8 DAY
                THEN 'earlier'
            WHEN
                e.action <> 'removed'
                AND a.found_left <> 'as_left'
                AND a.in_stay = 1
                AND a.reading_day > a.stay_from::DATE
                AND a.moment < a.stay_from + INTERVAL 8 DAY
                AND coalesce(a.stay_before <> a.stay_from, TRUE)
                AND a.stay_after = a.stay_from
                AND abs(a.grown_mm - a.before_mm) <= 2 * a.explained_mm
                AND a.grown_mm - a.after_mm > 2 * a.explained_mm
                THEN 'earlier'
            WHEN e.action = 'removed' THEN 'out'
        END AS what_then
    FROM around AS a
    INNER JOIN events AS e
        ON
            a.machine = e.machine
            AND a.place = e.place
            AND a.position = e.position
            AND a.stay_from = e.moment
    WHERE e.action <> 'turned'
),

named AS (
    SELECT
        l.*,
        doubt_id(
            'reading after removal',
            concat_ws('|', l.machine, l.place, l.position, l.reading_kind),
            concat_ws('|', l.reading_day, l.value_mm)
        ) AS id
    FROM late AS l
    WHERE l.what_then IS NOT NULL
)

SELECT
    n.id,
    'reading after removal' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf(
        CASE
            WHEN n.left_by = 'removed' THEN '%.2f mm is read where the piece was taken out on %s'
            ELSE '%.2f mm is read on a piece that was new on %s'
        END,
        n.value_mm, n.stay_from::DATE::VARCHAR
    ) AS what,
    CASE n.what_then
        WHEN 'earlier' THEN 'it is of the piece that left'
        ELSE 'leave it out'
    END AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts,
    n.what_then,
    n.import_no,
    n.file,
    n.file_line,
    n.copy_no,
    n.reading_kind,
    n.moment
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment, n.id
