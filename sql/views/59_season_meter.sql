-- Each season on each of a machine's meters, in segments of one phase: what is above low and up to
-- high was run in it. A cell is a season x phase (a season where no phase is logged). What ran
-- between two seasons counts to the later one, what ran after the last to the last; a day without a
-- phase counts to the phase before it.
CREATE OR REPLACE TEMP TABLE season_meter AS
WITH ends AS (
    SELECT
        m.machine,
        m.clock,
        s.season_no,
        s.season,
        lag(s.last_day) OVER of_machine AS after_day,
        s.last_day,
        coalesce(lag(m.hours_before::DOUBLE) OVER of_machine, 0) AS low
    FROM seasons AS s
    INNER JOIN meter AS m ON m.run_date = s.last_day + 1
    WINDOW of_machine AS (PARTITION BY m.machine, m.clock ORDER BY s.season_no)
),

final_season AS (
    SELECT max(s.season_no) AS season_no
    FROM seasons AS s
),

phased AS (
    SELECT
        e.machine,
        e.clock,
        e.season_no,
        p.run_date,
        p.phase,
        lag(p.phase) OVER (
            PARTITION BY e.machine, e.clock, e.season_no ORDER BY p.run_date
        ) AS before
    FROM ends AS e
    CROSS JOIN final_season AS f
    CROSS JOIN until_day AS u
    INNER JOIN phase_days AS p
        ON
            e.machine = p.machine
            AND (e.after_day IS NULL OR e.after_day < p.run_date)
            AND (e.season_no = f.season_no OR e.last_day >= p.run_date)
            AND u.last_day >= p.run_date
),

begun AS (
    SELECT
        p.machine,
        p.clock,
        p.season_no,
        p.run_date,
        p.phase,
        row_number() OVER (
            PARTITION BY p.machine, p.clock, p.season_no ORDER BY p.run_date
        ) AS part_no
    FROM phased AS p
    WHERE p.before IS NULL OR p.before <> p.phase
),

segments AS (
    SELECT
        e.machine,
        e.clock,
        e.season_no,
        e.season,
        coalesce(b.phase, '') AS phase,
        coalesce(b.run_date, e.last_day) AS first_day,
        coalesce(b.part_no, 1) AS part_no,
        CASE
            WHEN coalesce(b.part_no, 1) = 1 THEN e.low
            ELSE greatest(m.hours_before::DOUBLE, e.low)
        END AS low
    FROM ends AS e
    LEFT JOIN begun AS b
        ON e.machine = b.machine AND e.clock = b.clock AND e.season_no = b.season_no
    LEFT JOIN meter AS m
        ON b.machine = m.machine AND b.clock = m.clock AND b.run_date = m.run_date
),

cells AS (
    SELECT
        s.season_no,
        s.phase,
        row_number() OVER (ORDER BY s.season_no, min(s.first_day), s.phase)::INTEGER AS cell_no
    FROM segments AS s
    GROUP BY s.season_no, s.phase
)

SELECT
    s.machine,
    s.clock,
    s.season_no,
    s.season,
    s.phase,
    c.cell_no,
    CASE WHEN s.phase = '' THEN s.season ELSE concat(s.season, ' ', s.phase) END AS cell,
    row_number() OVER of_machine AS segment_no,
    s.low,
    coalesce(lead(s.low) OVER of_machine, 'infinity'::DOUBLE) AS high
FROM segments AS s
INNER JOIN cells AS c ON s.season_no = c.season_no AND s.phase = c.phase
WINDOW of_machine AS (PARTITION BY s.machine, s.clock ORDER BY s.season_no, s.part_no)
ORDER BY s.machine, s.clock, segment_no
