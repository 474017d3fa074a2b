-- The last day of which anything is known: the day asked for, or the day of the last known event,
-- whichever comes first. Censoring reads it. last_moment is the end of that day.
CREATE OR REPLACE TEMP TABLE until_day AS
WITH last_days AS (
    SELECT max(c.taken_at)::DATE AS event_day FROM change_outs AS c
    UNION ALL
    SELECT max(r.taken_at)::DATE AS event_day FROM readings AS r
    UNION ALL
    SELECT max(c.taken_at)::DATE AS event_day FROM clocks AS c
    UNION ALL
    SELECT max(s.taken_at)::DATE AS event_day FROM stock AS s
),

known AS (
    SELECT max(d.event_day) AS event_day
    FROM last_days AS d
)

SELECT
    least(getvariable('day'), k.event_day) AS last_day,
    least(getvariable('day'), k.event_day)::TIMESTAMP + INTERVAL 1 DAY AS last_moment
FROM known AS k
WHERE k.event_day IS NOT NULL
