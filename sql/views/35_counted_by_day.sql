-- What meters of other clocks (cycles, metres, tonnes) counted on each day: spread by the hours the
-- machine ran, else evenly over the span. Days that no such meter covers count their hours times
-- clock_per_hour, else times what the meter counted in an hour.
CREATE OR REPLACE TEMP TABLE counted_by_day AS
WITH span_days AS (
    SELECT
        s.machine,
        s.clock,
        s.meter,
        s.from_moment,
        s.to_moment,
        s.hours AS counted,
        unnest(generate_series(
            s.from_moment::DATE::TIMESTAMP, s.to_moment, INTERVAL 1 DAY
        ))::DATE AS run_date
    FROM clock_spans AS s
    WHERE s.clock <> 'hours' AND s.hours IS NOT NULL
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
        coalesce(h.hours, 0) AS run_hours
    FROM span_days AS d
    LEFT JOIN hours_by_day AS h ON d.machine = h.machine AND d.run_date = h.run_date
),

weighed AS (
    SELECT
        s.*,
        sum(s.part_day * s.run_hours) OVER of_span AS hours_in_span,
        sum(s.part_day) OVER of_span AS days_in_span
    FROM shares AS s
    WINDOW of_span AS (PARTITION BY s.machine, s.clock, s.meter, s.from_moment)
),

by_meter AS (
    SELECT
        w.machine,
        w.clock,
        w.meter,
        w.run_date,
        sum(w.part_day) AS part_day,
        sum(
            CASE
                WHEN w.hours_in_span > 0
                    THEN
                        w.counted
                        * (w.part_day * w.run_hours)::DOUBLE / w.hours_in_span::DOUBLE
                ELSE w.counted * w.part_day::DOUBLE / greatest(w.days_in_span::DOUBLE, 1e-9)
            END::DECIMAL(14, 4)
        ) AS counted
    FROM weighed AS w
    GROUP BY w.machine, w.clock, w.meter, w.run_date
),

metered AS (
    SELECT
        m.machine,
        m.clock,
        m.run_date,
        least(max(m.part_day), 1) AS part_day,
        max(m.counted) AS counted
    FROM by_meter AS m
    GROUP BY m.machine, m.clock, m.run_date
),

stated AS (
    SELECT
        p.machine,
        l.clock,
        min(p.clock_per_hour)::DOUBLE AS per_hour
    FROM places AS p
    INNER JOIN limits AS l ON p.part_type = l.part_type
    GROUP BY p.machine, l.clock
),

pace AS (
    SELECT
        m.machine,
        m.clock,
        coalesce(
            min(s.per_hour),
            sum(m.counted)::DOUBLE / nullif(sum(h.hours * m.part_day)::DOUBLE, 0),
            0
        ) AS per_hour
    FROM metered AS m
    LEFT JOIN hours_by_day AS h ON m.machine = h.machine AND m.run_date = h.run_date
    LEFT JOIN stated AS s ON m.machine = s.machine AND m.clock = s.clock
    GROUP BY m.machine, m.clock
),

days AS (
    SELECT
        m.machine,
        m.clock,
        m.run_date
    FROM metered AS m
    UNION
    SELECT
        p.machine,
        p.clock,
        h.run_date
    FROM pace AS p
    INNER JOIN hours_by_day AS h ON p.machine = h.machine
)

SELECT
    d.machine,
    d.clock,
    d.run_date,
    (
        coalesce(m.counted, 0)
        + coalesce(h.hours, 0)::DOUBLE * (1 - coalesce(m.part_day, 0))::DOUBLE * p.per_hour
    )::DECIMAL(14, 4) AS hours,
    coalesce(m.counted, 0)::DECIMAL(14, 4) AS metered,
    0::DECIMAL(14, 4) AS guessed
FROM days AS d
INNER JOIN pace AS p ON d.machine = p.machine AND d.clock = p.clock
LEFT JOIN metered AS m
    ON d.machine = m.machine AND d.clock = m.clock AND d.run_date = m.run_date
LEFT JOIN hours_by_day AS h ON d.machine = h.machine AND d.run_date = h.run_date
CROSS JOIN until_day AS u
WHERE d.run_date <= u.last_day
ORDER BY d.machine, d.clock, d.run_date
