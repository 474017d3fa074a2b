-- A meter shows less than before, and goes on as if it had not.
-- Default: as proposed (the figure does not count).
CREATE OR REPLACE TEMP TABLE meter_backwards AS
WITH named AS (
    SELECT
        s.*,
        doubt_id(
            'meter backwards',
            concat_ws('|', s.machine, s.meter, nullif(s.clock, 'hours')),
            s.moment
        ) AS id
    FROM meter_steps AS s
    WHERE s.falls AND s.fits_without
)

SELECT
    n.id,
    'meter backwards' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.taken_at,
    printf('the meter shows %.1f after %.1f, and goes on as if it had not', n.shows, n.shown_before)
        AS what,
    'leave this figure out' AS proposal,
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
