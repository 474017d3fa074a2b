-- The clock_shows of a sheet is more than 24 hours off what the hour meter's own log says, or a
-- meter counts more than 24 hours over days on which `running` says the machine stood.
-- Default: as logged (the clocks' log counts; clock_shows is only a check).
CREATE OR REPLACE TEMP TABLE clock_disagrees AS
WITH shown AS (
    SELECT
        r.machine,
        moment(r.taken_at, r.whole_day, 0) AS taken_at,
        r.clock_shows::DOUBLE AS shows
    FROM readings AS r
    WHERE r.clock_shows IS NOT NULL
    UNION
    SELECT
        c.machine,
        moment(c.taken_at, c.whole_day, 0) AS taken_at,
        c.clock_shows::DOUBLE AS shows
    FROM change_outs AS c
    WHERE c.clock_shows IS NOT NULL
),

one_meter AS (
    SELECT s.machine
    FROM meter_steps AS s
    WHERE s.clock = 'hours'
    GROUP BY s.machine
    HAVING count(DISTINCT s.meter) = 1
),

not_counted AS (
    SELECT
        b.machine,
        b.moment
    FROM meter_backwards AS b
    UNION ALL
    SELECT
        o.machine,
        o.moment
    FROM meter_over_24_h AS o
),

steps AS (
    SELECT
        s.machine,
        s.moment,
        s.goes_on_from,
        m.hours_before + m.hours * epoch(s.moment - s.moment::DATE::TIMESTAMP) / 86400 AS ran
    FROM meter_steps AS s
    INNER JOIN meter AS m
        ON s.machine = m.machine AND m.clock = 'hours' AND s.moment::DATE = m.run_date
    SEMI JOIN one_meter AS o ON s.machine = o.machine
    ANTI JOIN not_counted AS n ON s.machine = n.machine AND s.moment = n.moment
    WHERE s.clock = 'hours'
),

told AS (
    SELECT
        h.machine,
        h.taken_at,
        h.shows,
        s.goes_on_from
        + m.hours_before + m.hours * epoch(h.taken_at - h.taken_at::DATE::TIMESTAMP) / 86400
        - s.ran AS expected
    FROM shown AS h
    ASOF INNER JOIN steps AS s ON h.machine = s.machine AND h.taken_at >= s.moment
    INNER JOIN meter AS m
        ON h.machine = m.machine AND m.clock = 'hours' AND h.taken_at::DATE = m.run_date
),

standing AS (
    SELECT
        c.machine,
        c.from_moment,
        c.hours,
        sum(r.hours) AS told_hours,
        count(r.run_date) AS told_days,
        c.to_moment
    FROM clock_spans AS c
    INNER JOIN running_days AS r
        ON c.machine = r.machine AND r.run_date BETWEEN c.from_moment::DATE AND c.to_moment::DATE
    WHERE c.clock = 'hours' AND c.hours > 24
    GROUP BY c.machine, c.from_moment, c.to_moment, c.hours
    HAVING
        sum(r.hours) = 0
        AND count(r.run_date) > date_diff('day', c.from_moment::DATE, c.to_moment::DATE)
),

found AS (
    SELECT
        t.machine,
        t.taken_at,
        printf(
            'the sheet shows %.1f h where the clocks say %.1f h', t.shows, t.expected
        ) AS what,
        t.shows::VARCHAR AS figure
    FROM told AS t
    WHERE abs(t.shows - t.expected) > 24
    UNION ALL
    SELECT
        s.machine,
        s.from_moment AS taken_at,
        printf(
            'the meter counts %.1f h up to %s, and running says it stood',
            s.hours, s.to_moment::DATE::VARCHAR
        ) AS what,
        'stood' AS figure
    FROM standing AS s
),

named AS (
    SELECT
        f.*,
        doubt_id('clock disagrees', f.machine, concat_ws('|', f.taken_at, f.figure)) AS id
    FROM found AS f
)

SELECT
    n.id,
    'clock disagrees' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.taken_at,
    n.what,
    'look which of the two is right, and mend it' AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.taken_at, n.id
