-- Meters of known machines (hours, cycles, metres, tonnes), each figure with the one before and the
-- one after it. A 'replaced' row ends the old meter with its shows and begins the new one with
-- start_shows. turn is where a meter with so many digits begins anew. fits_without: the figures
-- around go on as if this one were not there; so does one that runs too fast, if it is the last.
CREATE OR REPLACE TEMP TABLE meter_steps AS
WITH known AS (
    SELECT
        c.machine,
        coalesce(c.clock, 'hours') AS clock,
        coalesce(c.meter, '') AS meter,
        CASE
            WHEN c.whole_day THEN c.taken_at::DATE::TIMESTAMP + INTERVAL 12 HOUR
            ELSE c.taken_at
        END AS moment,
        c.taken_at,
        c.shows::DOUBLE AS shows,
        CASE WHEN c.event = 'replaced' THEN coalesce(c.start_shows, 0) ELSE c.shows END::DOUBLE
            AS goes_on_from
    FROM clocks AS c
    CROSS JOIN until_day AS u
    WHERE
        c.taken_at < u.last_moment
        AND c.machine IN (SELECT p.machine FROM places AS p)
    QUALIFY
        row_number() OVER (
            PARTITION BY c.machine, clock, meter, moment
            ORDER BY c.event ASC NULLS LAST, c.shows DESC
        ) = 1
),

around AS (
    SELECT
        k.*,
        lag(k.goes_on_from) OVER in_time AS shown_before,
        lead(k.shows) OVER in_time AS shown_after,
        epoch(k.moment - lag(k.moment) OVER in_time) / 3600 AS hours_before,
        epoch(lead(k.moment) OVER in_time - lag(k.moment) OVER in_time) / 3600 AS hours_around,
        pow(10, length(floor(lag(k.goes_on_from) OVER in_time)::BIGINT::VARCHAR)) AS turn
    FROM known AS k
    WINDOW in_time AS (PARTITION BY k.machine, k.clock, k.meter ORDER BY k.moment)
),

judged AS (
    SELECT
        a.*,
        coalesce(a.shows < a.shown_before, FALSE) AS falls,
        coalesce(a.clock = 'hours' AND a.shows - a.shown_before > a.hours_before + 1, FALSE)
            AS races,
        coalesce(
            a.shown_after >= a.shown_before
            AND (a.clock <> 'hours' OR a.shown_after - a.shown_before <= a.hours_around + 1)
            AND a.shows = a.goes_on_from, FALSE
        ) AS misfits,
        coalesce(
            a.shown_before >= 0.9 * a.turn
            AND CASE
                WHEN a.clock = 'hours' THEN a.turn - a.shown_before + a.shows <= a.hours_before + 1
                ELSE a.shows <= 0.1 * a.turn
            END, FALSE
        ) AS turns
    FROM around AS a
),

misread AS (
    SELECT
        j.*,
        coalesce(
            lag((j.falls OR j.races) AND j.misfits) OVER (
                PARTITION BY j.machine, j.clock, j.meter ORDER BY j.moment
            ), FALSE
        ) AS after_misread
    FROM judged AS j
),

left_out AS (
    SELECT
        m.*,
        m.misfits OR (
            m.shown_after IS NULL AND m.races AND m.shows = m.goes_on_from AND NOT m.after_misread
        ) AS fits_without
    FROM misread AS m
),

goes_on AS (
    SELECT
        l.*,
        (l.falls OR l.races) AND NOT l.fits_without AND NOT l.after_misread AS parts
    FROM left_out AS l
)

SELECT
    g.*,
    g.parts AND g.falls AND g.turns AS rolls_over,
    g.parts AND NOT (g.falls AND g.turns) AS breaks
FROM goes_on AS g
ORDER BY g.machine, g.clock, g.meter, g.moment
