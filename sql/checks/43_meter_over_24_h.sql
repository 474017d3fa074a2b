-- An hour meter runs faster than time, and goes on as if it had not.
-- Default: as proposed (the figure does not count).
CREATE OR REPLACE TEMP TABLE meter_over_24_h AS
WITH named AS (
    SELECT
        s.*,
        doubt_id('meter over 24 h a day', concat_ws('|', s.machine, s.meter), s.moment) AS id
    FROM meter_steps AS s
    WHERE s.races AND s.fits_without
)

SELECT
    n.id,
    'meter over 24 h a day' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.taken_at,
    printf('the meter shows %.1f h after %.1f h: more than 24 h a day', n.shows, n.shown_before)
        AS what,
    'leave this figure out' AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts,
    n.meter,
    n.moment
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.moment, n.id
