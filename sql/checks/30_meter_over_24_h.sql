-- An hour meter runs faster than time and goes on as if it had not (or nothing is read after that
-- yet), or `running` tells more than 24 hours of one day.
-- Default: as proposed (the figure does not count; a day counts 24 hours).
CREATE OR REPLACE TEMP TABLE meter_over_24_h AS
WITH too_fast AS (
    SELECT
        s.machine,
        s.clock,
        s.meter,
        s.moment,
        s.taken_at,
        printf(
            'the meter shows %.1f h after %.1f h: more than 24 h a day', s.shows, s.shown_before
        ) AS what,
        'leave this figure out' AS proposal
    FROM meter_steps AS s
    WHERE s.races AND s.fits_without
    UNION ALL
    SELECT
        r.machine,
        'hours' AS clock,
        'running' AS meter,
        r.run_date::TIMESTAMP AS moment,
        r.run_date::TIMESTAMP AS taken_at,
        printf('`running` tells %.1f h of one day', r.told_hours) AS what,
        'count 24 h' AS proposal
    FROM running_days AS r
    CROSS JOIN until_day AS u
    WHERE r.told_hours > 24 AND r.run_date <= u.last_day
),

named AS (
    SELECT
        f.*,
        doubt_id(
            'meter over 24 h a day',
            concat_ws('|', f.machine, f.meter, nullif(f.clock, 'hours')),
            f.moment
        ) AS id
    FROM too_fast AS f
)

SELECT
    n.id,
    'meter over 24 h a day' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.taken_at,
    n.what,
    n.proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts,
    n.clock,
    n.meter,
    n.moment
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.moment, n.id
