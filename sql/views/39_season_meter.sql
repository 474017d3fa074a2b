-- Each season on each of a machine's meters: what is above low and up to high was run in it. What
-- ran between two seasons counts to the later one, what ran after the last to the last.
CREATE OR REPLACE TEMP TABLE season_meter AS
WITH ends AS (
    SELECT
        m.machine,
        m.clock,
        s.season_no,
        s.season,
        m.hours_before::DOUBLE AS high
    FROM seasons AS s
    INNER JOIN meter AS m ON m.run_date = s.last_day + 1
)

SELECT
    e.machine,
    e.clock,
    e.season_no,
    e.season,
    coalesce(lag(e.high) OVER of_machine, 0) AS low,
    CASE
        WHEN lead(e.high) OVER of_machine IS NULL THEN 'infinity'::DOUBLE
        ELSE e.high
    END AS high
FROM ends AS e
WINDOW of_machine AS (PARTITION BY e.machine, e.clock ORDER BY e.season_no)
ORDER BY e.machine, e.clock, e.season_no
