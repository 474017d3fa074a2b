-- A meter near the end of its figures begins anew: 99,999 and then 0.
-- Default: as proposed (it turned over once and goes on).
CREATE OR REPLACE TEMP TABLE meter_rollover AS
WITH named AS (
    SELECT
        s.*,
        doubt_id(
            'meter rollover',
            concat_ws('|', s.machine, s.meter, nullif(s.clock, 'hours')),
            s.moment
        ) AS id
    FROM meter_steps AS s
    WHERE s.rolls_over
)

SELECT
    n.id,
    'meter rollover' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.taken_at,
    printf('the meter shows %.1f after %.1f and goes on from there', n.shows, n.shown_before)
        AS what,
    printf('it turned over at %.0f', n.turn) AS proposal,
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
