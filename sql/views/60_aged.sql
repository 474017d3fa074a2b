-- Each reading that counts, with its piece or set, its age in hours, its wear at 20 C with the
-- correction made and what could not be corrected. Sizes are taken against the size found when the
-- piece was fitted (as_left on that day, or fitted_mm), else the mean size of new parts of the type
-- (five at least), else the nominal size: new_from says which, new_sd_mm how far it may be off. ran
-- is what the piece has run since the watch began, age what it has run in all.
CREATE OR REPLACE TEMP TABLE aged AS
WITH seated AS (
    SELECT
        r.import_no,
        r.file,
        r.file_line,
        r.copy_no,
        s.spell_no,
        r.part_type AS said_type,
        s.part_type,
        r.reading_kind,
        r.found_left,
        r.is_suspect,
        r.taken_at,
        r.reading_day,
        r.moment,
        r.value_mm,
        r.size_20_mm,
        r.correction_mm,
        r.slip_mm,
        r.dry_less_mm,
        r.heat_mm,
        r.counts_twice,
        r.read_value,
        r.chosen,
        r.inspector,
        r.unit,
        r.result,
        r.part_temperature_c,
        r.gauge_temperature_c,
        r.not_corrected,
        r.wear_limit_mm,
        s.machine,
        s.place,
        r.position,
        s.is_set,
        s.piece,
        s.quantity,
        s.duty_group,
        s.start_moment,
        s.stop_moment,
        s.begun_by,
        s.fitted_mm,
        s.shaft_mm,
        s.first_age,
        s.hours_in_earlier,
        s.meter_start,
        s.meter_clock,
        s.clock_per_hour
    FROM placed AS r
    ASOF INNER JOIN spells AS s
        ON
            r.machine = s.machine
            AND r.place = s.place
            AND s.position = CASE WHEN r.is_set THEN '' ELSE r.position END
            AND r.moment >= s.start_moment
    WHERE
        r.moment < s.stop_moment
        AND (NOT s.is_set OR s.part_type = r.part_type)
        AND (NOT s.is_set OR coalesce(r.kit, s.piece) = s.piece)
),

new_sizes AS (
    SELECT
        s.spell_no,
        s.reading_kind,
        min_by(s.size_20_mm, (s.moment, s.size_20_mm)) AS new_size_mm
    FROM seated AS s
    WHERE
        s.found_left = 'as_left'
        AND s.reading_day = s.start_moment::DATE
        AND s.begun_by IN ('fitted', 'replaced')
    GROUP BY s.spell_no, s.reading_kind
),

known_sizes AS (
    SELECT
        s.part_type,
        n.reading_kind,
        n.new_size_mm::DECIMAL(12, 4) AS size_mm
    FROM new_sizes AS n
    INNER JOIN spells AS s ON n.spell_no = s.spell_no
    WHERE n.reading_kind IN ('remaining', 'diameter', 'bore', 'clearance', 'pitch')
    UNION ALL
    SELECT
        s.part_type,
        '' AS reading_kind,
        s.fitted_mm::DECIMAL(12, 4) AS size_mm
    FROM spells AS s
    WHERE s.fitted_mm IS NOT NULL
),

new_parts AS (
    SELECT
        k.part_type,
        k.reading_kind,
        avg(k.size_mm)::DOUBLE AS mean_mm,
        sqrt(greatest(
            (sum(k.size_mm * k.size_mm)::DOUBLE - sum(k.size_mm)::DOUBLE * avg(k.size_mm)::DOUBLE)
            / (count(*) - 1), 0
        )) AS sd_mm
    FROM known_sizes AS k
    GROUP BY k.part_type, k.reading_kind
    HAVING count(*) >= 5
),

sized AS (
    SELECT
        s.*,
        coalesce(
            n.new_size_mm,
            CASE
                WHEN s.reading_kind = 'clearance' THEN s.fitted_mm - s.shaft_mm
                ELSE s.fitted_mm
            END
        ) AS new_mm,
        CASE
            WHEN s.reading_kind = 'clearance' THEN l.nominal_mm::DOUBLE - s.shaft_mm
            ELSE l.nominal_mm::DOUBLE
        END AS nominal_mm,
        l.size_sd_mm::DOUBLE AS size_sd_mm,
        CASE
            WHEN n.new_size_mm IS NOT NULL THEN 'measured when fitted'
            WHEN s.fitted_mm IS NOT NULL THEN 'fitted_mm'
            WHEN p.mean_mm IS NOT NULL THEN 'mean of new parts'
            WHEN g.mean_mm IS NOT NULL THEN 'mean of new parts'
            ELSE 'nominal'
        END AS size_from,
        coalesce(
            p.mean_mm,
            CASE WHEN s.reading_kind = 'clearance' THEN g.mean_mm - s.shaft_mm ELSE g.mean_mm END
        ) AS mean_new_mm,
        coalesce(p.sd_mm, g.sd_mm) AS mean_new_sd_mm
    FROM seated AS s
    LEFT JOIN new_sizes AS n
        ON s.spell_no = n.spell_no AND s.reading_kind = n.reading_kind
    LEFT JOIN new_parts AS p
        ON s.part_type = p.part_type AND s.reading_kind = p.reading_kind
    LEFT JOIN new_parts AS g ON s.part_type = g.part_type AND g.reading_kind = ''
    LEFT JOIN limits AS l ON s.part_type = l.part_type
    ANTI JOIN new_sizes AS own
        ON
            s.spell_no = own.spell_no
            AND s.reading_kind = own.reading_kind
            AND s.found_left = 'as_left'
            AND s.reading_day = s.start_moment::DATE
),

worn AS (
    SELECT
        z.*,
        try_cast(
            CASE
                WHEN z.reading_kind = 'percent' THEN z.size_20_mm / 100 * z.wear_limit_mm
                ELSE
                    wear_from_reading(
                        z.reading_kind, z.size_20_mm, z.new_mm,
                        coalesce(z.mean_new_mm, z.nominal_mm)
                    ) * CASE WHEN z.counts_twice THEN 2 ELSE 1 END
            END AS DECIMAL(9, 4)
        ) AS wear_mm,
        (
            m.hours_before
            + m.hours * epoch(z.moment - z.reading_day::TIMESTAMP) / 86400
        )::DECIMAL(14, 2) AS meter_hours
    FROM sized AS z
    CROSS JOIN meter_days AS d
    INNER JOIN meter AS m
        ON
            z.machine = m.machine
            AND z.meter_clock = m.clock
            AND m.run_date = greatest(d.first_day, least(z.reading_day, d.final_day))
)

SELECT
    w.import_no,
    w.file,
    w.file_line,
    w.copy_no,
    w.spell_no,
    w.machine,
    w.place,
    w.position,
    w.part_type,
    w.duty_group,
    w.piece,
    w.is_set,
    w.quantity,
    w.taken_at,
    w.reading_day,
    w.moment,
    w.reading_kind,
    w.found_left,
    w.is_suspect,
    w.value_mm,
    w.read_value,
    w.chosen,
    w.inspector,
    w.unit,
    w.result,
    w.part_temperature_c,
    w.gauge_temperature_c,
    w.correction_mm::DECIMAL(9, 4) AS correction_mm,
    w.slip_mm,
    w.dry_less_mm,
    w.heat_mm,
    w.counts_twice,
    w.not_corrected,
    w.wear_mm,
    w.reading_kind IN ('wear_depth', 'percent') OR w.new_mm IS NOT NULL AS fitted_known,
    CASE
        WHEN w.reading_kind IN ('wear_depth', 'percent') THEN NULL
        ELSE coalesce(w.new_mm, w.mean_new_mm, w.nominal_mm)
    END AS new_mm,
    CASE WHEN w.reading_kind IN ('wear_depth', 'percent') THEN '' ELSE w.size_from END AS new_from,
    CASE
        WHEN w.reading_kind IN ('wear_depth', 'percent') OR w.new_mm IS NOT NULL THEN 0
        WHEN w.mean_new_mm IS NOT NULL THEN w.mean_new_sd_mm
        ELSE w.size_sd_mm
    END AS new_sd_mm,
    w.meter_hours,
    (
        w.hours_in_earlier + greatest(w.meter_hours - w.meter_start, 0) * w.clock_per_hour
    )::DECIMAL(12, 2) AS ran,
    (
        w.first_age + w.hours_in_earlier
        + greatest(w.meter_hours - w.meter_start, 0) * w.clock_per_hour
    )::DECIMAL(12, 2) AS age
FROM worn AS w
WHERE w.wear_mm IS NOT NULL
ORDER BY w.machine, w.place, w.position, w.moment, w.wear_mm, w.file, w.file_line, w.copy_no
