-- Hour meters of known machines, each reading with the one before and the one after it.
-- A 'replaced' row ends the old meter with its shows and begins the new one with start_shows.
CREATE OR REPLACE TEMP TABLE meter_steps AS
WITH known AS (
    SELECT
        c.machine,
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
        coalesce(c.clock, 'hours') = 'hours'
        AND c.taken_at < u.last_moment
        AND c.machine IN (SELECT p.machine FROM places AS p)
    QUALIFY
        row_number() OVER (
            PARTITION BY c.machine, meter, moment
            ORDER BY c.event ASC NULLS LAST, c.shows DESC
        ) = 1
),

around AS (
    SELECT
        k.*,
        lag(k.goes_on_from) OVER in_time AS shown_before,
        lead(k.shows) OVER in_time AS shown_after,
        epoch(k.moment - lag(k.moment) OVER in_time) / 3600 AS hours_before,
        epoch(lead(k.moment) OVER in_time - lag(k.moment) OVER in_time) / 3600 AS hours_around
    FROM known AS k
    WINDOW in_time AS (PARTITION BY k.machine, k.meter ORDER BY k.moment)
),

judged AS (
    SELECT
        a.*,
        coalesce(a.shows < a.shown_before, FALSE) AS falls,
        coalesce(a.shows - a.shown_before > a.hours_before + 1, FALSE) AS races,
        coalesce(
            a.shown_after >= a.shown_before
            AND a.shown_after - a.shown_before <= a.hours_around + 1
            AND a.shows = a.goes_on_from, FALSE
        ) AS fits_without
    FROM around AS a
)

SELECT
    j.*,
    (j.falls OR j.races) AND NOT j.fits_without AND NOT coalesce(
        lag((j.falls OR j.races) AND j.fits_without) OVER (
            PARTITION BY j.machine, j.meter ORDER BY j.moment
        ), FALSE
    ) AS breaks
FROM judged AS j
ORDER BY j.machine, j.meter, j.moment
