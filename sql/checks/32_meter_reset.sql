-- A meter falls or jumps and goes on from there: replaced or set back, and not logged.
-- Default: as proposed (the hours between come from running, else from the rate before or after).
CREATE OR REPLACE TEMP TABLE meter_reset AS
WITH named AS (
    SELECT
        s.*,
        doubt_id(
            'meter reset',
            concat_ws('|', s.machine, s.meter, nullif(s.clock, 'hours')),
            s.moment
        ) AS id
    FROM meter_steps AS s
    WHERE s.breaks
)

SELECT
    n.id,
    'meter reset' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.taken_at,
    printf('the meter shows %.1f after %.1f', n.shows, n.shown_before)
    || CASE WHEN n.shown_after IS NULL THEN '' ELSE ' and goes on from there' END AS what,
    'a new meter began here; what ran between is that of `running`' AS proposal,
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
