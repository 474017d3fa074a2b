-- Hours each machine ran on each day: clocks, spread by `running`, else evenly over the span; where
-- no clock tells, `running` alone.
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
        r.hours AS told_hours
    FROM span_days AS d
    LEFT JOIN running_days AS r ON d.machine = r.machine AND d.run_date = r.run_date
),

weighed AS (
    SELECT
        s.*,
        sum(s.part_day * s.told_hours) OVER of_span AS told_in_span,
        sum(s.part_day) OVER of_span AS days_in_span
    FROM shares AS s
    WINDOW of_span AS (PARTITION BY s.machine, s.meter, s.from_moment)
),

spread AS (
    SELECT
        w.machine,
        w.meter,
        w.run_date,
        w.part_day,
        CASE
            WHEN w.told_in_span > 0
                THEN
                    coalesce(w.hours, w.told_in_span::DOUBLE)
                    * (w.part_day * coalesce(w.told_hours, 0))::DOUBLE / w.told_in_span::DOUBLE
            ELSE
                coalesce(w.hours, w.rate_before * w.days_in_span::DOUBLE * 24, 0)
                * w.part_day::DOUBLE / greatest(w.days_in_span::DOUBLE, 1e-9)
        END::DECIMAL(12, 4) AS hours
    FROM weighed AS w
),

by_meter AS (
    SELECT
        s.machine,
        s.meter,
        s.run_date,
        sum(s.part_day) AS part_day,
        sum(s.hours) AS hours
    FROM spread AS s
    GROUP BY s.machine, s.meter, s.run_date
),

by_clock AS (
    SELECT
        m.machine,
        m.run_date,
        least(max(m.part_day), 1) AS part_day,
        max(m.hours) AS hours
    FROM by_meter AS m
    GROUP BY m.machine, m.run_date
)

SELECT
    coalesce(c.machine, r.machine) AS machine,
    coalesce(c.run_date, r.run_date) AS run_date,
    (
        coalesce(c.hours, 0) + coalesce(r.hours, 0) * (1 - coalesce(c.part_day, 0))
    )::DECIMAL(12, 4) AS hours
FROM by_clock AS c
FULL JOIN running_days AS r ON c.machine = r.machine AND c.run_date = r.run_date
CROSS JOIN until_day AS u
WHERE coalesce(c.run_date, r.run_date) <= u.last_day
ORDER BY ALL
