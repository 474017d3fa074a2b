-- What a meter counted between two figures that count; NULL where it was replaced unlogged. There
-- rate_before is what it counted in an hour the last time that it is known, else the next time.
CREATE OR REPLACE TEMP TABLE clock_spans AS
WITH d AS (
    SELECT
        b.machine,
        b.clock,
        b.meter,
        b.moment
    FROM meter_backwards AS b
    WHERE b.acts
    UNION ALL
    SELECT
        o.machine,
        o.clock,
        o.meter,
        o.moment
    FROM meter_over_24_h AS o
    WHERE o.acts
),

counted AS (
    SELECT s.*
    FROM meter_steps AS s
    ANTI JOIN d
        ON
            s.machine = d.machine
            AND s.clock = d.clock
            AND s.meter = d.meter
            AND s.moment = d.moment
),

steps AS (
    SELECT
        c.machine,
        c.clock,
        c.meter,
        lag(c.moment) OVER in_time AS from_moment,
        c.moment AS to_moment,
        CASE
            WHEN coalesce(r.acts, FALSE) THEN NULL
            WHEN coalesce(o.acts, FALSE)
                THEN c.turn - lag(c.goes_on_from) OVER in_time + c.shows
            ELSE greatest(c.shows - lag(c.goes_on_from) OVER in_time, 0)
        END AS hours
    FROM counted AS c
    LEFT JOIN meter_reset AS r
        ON
            c.machine = r.machine
            AND c.clock = r.clock
            AND c.meter = r.meter
            AND c.moment = r.moment
    LEFT JOIN meter_rollover AS o
        ON
            c.machine = o.machine
            AND c.clock = o.clock
            AND c.meter = o.meter
            AND c.moment = o.moment
    WINDOW in_time AS (PARTITION BY c.machine, c.clock, c.meter ORDER BY c.moment)
)

SELECT
    s.*,
    coalesce(
        last_value(s.hours / (epoch(s.to_moment - s.from_moment) / 3600) IGNORE NULLS)
            OVER earlier,
        first_value(s.hours / (epoch(s.to_moment - s.from_moment) / 3600) IGNORE NULLS)
            OVER later
    ) AS rate_before
FROM steps AS s
WHERE s.from_moment IS NOT NULL
WINDOW
    earlier AS (
        PARTITION BY s.machine, s.clock, s.meter ORDER BY s.to_moment
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ),
    later AS (
        PARTITION BY s.machine, s.clock, s.meter ORDER BY s.to_moment
        ROWS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING
    )
ORDER BY s.machine, s.clock, s.meter, s.to_moment
