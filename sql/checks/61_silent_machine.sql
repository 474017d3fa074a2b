-- A machine ran 100 hours and more while it was watched, and no row tells of a change-out, of a
-- look that changed nothing, or of a reading.
-- Default: as proposed (its pieces are left out of lives and counts).
CREATE OR REPLACE TEMP TABLE silent_machine AS
WITH said AS (
    SELECT c.machine
    FROM change_outs AS c
    UNION
    SELECT r.machine
    FROM readings AS r
),

watched AS (
    SELECT
        s.machine,
        min(s.start_moment) AS first_moment,
        max(s.stop_moment) AS final_moment,
        max(s.meter_stop - s.meter_start) AS hours
    FROM spells AS s
    WHERE s.meter_clock = 'hours'
    GROUP BY s.machine
),

named AS (
    SELECT
        w.*,
        doubt_id('silent machine', w.machine, w.first_moment::DATE) AS id
    FROM watched AS w
    ANTI JOIN said AS a ON w.machine = a.machine
    WHERE w.hours >= 100
)

SELECT
    n.id,
    'silent machine' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.first_moment AS taken_at,
    printf(
        'it ran %.0f h from %s to %s, and no change-out and no reading is logged',
        n.hours, n.first_moment::DATE::VARCHAR, n.final_moment::DATE::VARCHAR
    ) AS what,
    'leave its pieces out of lives: nobody wrote anything down' AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine
