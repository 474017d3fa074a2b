-- Hours each machine ran on each day: clocks, spread by `running`, else evenly over the span; where
-- no clock tells, `running` alone. Between its first and its last day a machine that `running`
-- does not name stood. metered is what a clock counted, guessed what an unlogged change of the
-- meter left to the rate before; the rest is told by `running`.
CREATE OR REPLACE TEMP TABLE hours_by_day AS
WITH span_days AS (
    SELECT
        s.machine,
        s.meter,
        s.from_moment,
        s.to_moment,
        s.hours,
        s.rate_before,
        unnest(generate_series(
            s.from_moment::DATE::TIMESTAMP, s.to_moment, INTERVAL 1 DAY
        ))::DATE AS run_date
    FROM clock_spans AS s
    WHERE s.clock = 'hours'
),

told_range AS (
    SELECT
        r.machine,
        min(r.run_date) AS first_told,
        max(r.run_date) AS last_told
    FROM running_days AS r
    GROUP BY r.machine
),

shares AS (
    SELECT
        d.*,
        greatest(
            epoch(
                least(d.to_moment, d.run_date::TIMESTAMP + INTERVAL 1 DAY)
                - greatest(d.from_moment, d.run_date::TIMESTAMP)
            ) / 86400, 0
        )::DECIMAL(12, 8) AS part_day,
        coalesce(
            r.hours,
            CASE WHEN d.run_date BETWEEN t.first_told AND t.last_told THEN 0 END
        ) AS told_hours
    FROM span_days AS d
    LEFT JOIN running_days AS r ON d.machine = r.machine AND d.run_date = r.run_date
    LEFT JOIN told_range AS t ON d.machine = t.machine
),

weighed AS (
    SELECT
        s.*,
        coalesce(sum(s.part_day * s.told_hours) OVER of_span, 0) AS told_in_span,
        coalesce(sum(s.part_day) FILTER (s.told_hours IS NULL) OVER of_span, 0) AS days_untold,
        sum(s.part_day) OVER of_span AS days_in_span
    FROM shares AS s
    WINDOW of_span AS (PARTITION BY s.machine, s.meter, s.from_moment)
),

counted AS (
    SELECT
        w.*,
        coalesce(
            w.hours,
            CASE WHEN w.told_in_span > 0 THEN w.told_in_span::DOUBLE END,
            w.rate_before * w.days_in_span::DOUBLE * 24,
            0
        ) AS span_hours
    FROM weighed AS w
),

spread AS (
    SELECT
        c.machine,
        c.meter,
        c.run_date,
        c.part_day,
        c.hours IS NOT NULL AS by_meter,
        c.hours IS NULL AND c.told_in_span = 0 AS by_guess,
        CASE
            WHEN
                c.told_in_span > 0
                AND (c.days_untold = 0 OR c.span_hours <= 1.05 * c.told_in_span::DOUBLE)
                THEN
                    c.span_hours
                    * (c.part_day * coalesce(c.told_hours, 0))::DOUBLE / c.told_in_span::DOUBLE
            WHEN c.days_untold > 0 AND c.told_hours IS NOT NULL
                THEN (c.part_day * c.told_hours)::DOUBLE
            WHEN c.days_untold > 0
                THEN
                    (c.span_hours - c.told_in_span::DOUBLE)
                    * c.part_day::DOUBLE / c.days_untold::DOUBLE
            ELSE c.span_hours * c.part_day::DOUBLE / greatest(c.days_in_span::DOUBLE, 1e-9)
        END::DECIMAL(12, 4) AS hours
    FROM counted AS c
),

by_meter AS (
    SELECT
        s.machine,
        s.meter,
        s.run_date,
        sum(s.part_day) AS part_day,
        sum(s.hours) AS hours,
        coalesce(sum(s.hours) FILTER (s.by_meter), 0) AS metered,
        coalesce(sum(s.hours) FILTER (s.by_guess), 0) AS guessed
    FROM spread AS s
    GROUP BY s.machine, s.meter, s.run_date
),

by_clock AS (
    SELECT
        m.machine,
        m.run_date,
        least(max(m.part_day), 1) AS part_day,
        max(m.hours) AS hours,
        max_by(m.metered, (m.hours, m.meter)) AS metered,
        max_by(m.guessed, (m.hours, m.meter)) AS guessed
    FROM by_meter AS m
    GROUP BY m.machine, m.run_date
)

SELECT
    coalesce(c.machine, r.machine) AS machine,
    coalesce(c.run_date, r.run_date) AS run_date,
    (
        coalesce(c.hours, 0) + coalesce(r.hours, 0) * (1 - coalesce(c.part_day, 0))
    )::DECIMAL(12, 4) AS hours,
    coalesce(c.metered, 0)::DECIMAL(12, 4) AS metered,
    coalesce(c.guessed, 0)::DECIMAL(12, 4) AS guessed
FROM by_clock AS c
FULL JOIN running_days AS r ON c.machine = r.machine AND c.run_date = r.run_date
CROSS JOIN until_day AS u
WHERE coalesce(c.run_date, r.run_date) <= u.last_day
ORDER BY ALL
