-- Readings that count, with the proposals of row doubts applied and sizes brought to 20 C and dry.
-- size_20_mm is the value corrected: value_mm plus slip_mm (a unit slip), dry_less_mm (moisture)
-- and heat_mm; not_corrected says why a correction that was called for could not be made; grown_mm
-- rises with wear. counts_twice: a depth on one side, against a limit of the diameter.
CREATE OR REPLACE TEMP TABLE rows_sized AS
WITH counted AS (
    SELECT
        m.*,
        m.value_mm * coalesce(s.factor, 1) AS mended_mm,
        coalesce(m.gauge_temperature_c, 20) AS gauge_c,
        abs(coalesce(m.part_temperature_c, 20) - 20) > 0.5
        OR abs(coalesce(m.gauge_temperature_c, 20) - 20) > 0.5 AS is_warm
    FROM measured AS m
    LEFT JOIN unit_slip AS s
        ON
            s.acts
            AND m.import_no = s.import_no
            AND m.file = s.file
            AND m.file_line = s.file_line
            AND m.copy_no = s.copy_no
            AND m.machine = s.machine
            AND m.place = s.place
            AND m.position = s.position
            AND m.reading_kind = s.reading_kind
            AND m.moment = s.moment
    ANTI JOIN (SELECT d.* FROM doubled_sheet AS d WHERE d.acts) AS d
        ON
            m.import_no = d.import_no
            AND m.file = d.file
            AND m.file_line = d.file_line
            AND m.copy_no = d.copy_no
            AND m.machine = d.machine
            AND m.position = d.row_position
            AND m.reading_kind = d.reading_kind
),

dried AS (
    SELECT
        c.*,
        l.held,
        l.part_cte,
        l.housing_mm::DOUBLE AS housing_mm,
        l.housing_cte,
        l.wear_limit_mm::DOUBLE AS wear_limit_mm,
        l.gauge_guess_mm,
        l.swelling_percent,
        l.limit_measure = 'diameter' AND c.reading_kind IN ('wear_depth', 'remaining')
            AS counts_twice,
        CASE
            WHEN
                c.is_wet
                AND l.held = 'free'
                AND l.swelling_percent IS NOT NULL
                AND c.reading_kind IN ('remaining', 'diameter', 'bore')
                THEN dry_size(c.mended_mm, l.swelling_percent::DOUBLE)
            ELSE c.mended_mm
        END AS dry_mm
    FROM counted AS c
    INNER JOIN limits AS l ON c.part_type = l.part_type
),

corrected AS (
    SELECT
        d.*,
        CASE
            WHEN
                NOT d.is_warm
                OR d.part_temperature_c IS NULL
                OR d.reading_kind IN ('percent', 'clearance')
                THEN d.dry_mm
            WHEN d.held = 'free'
                THEN size_at_20c(
                    d.dry_mm, d.part_temperature_c, d.gauge_c, d.part_cte, 11.5e-6
                )
            WHEN d.held = 'pressed' AND d.reading_kind = 'bore'
                THEN pressed_bore_at_20c(
                    size_at_20c(d.dry_mm, 20, d.gauge_c, 0, 11.5e-6),
                    d.part_temperature_c, d.part_cte, d.housing_mm, d.housing_cte
                )
        END AS size_20_mm
    FROM dried AS d
)

SELECT
    c.import_no,
    c.file,
    c.file_line,
    c.copy_no,
    c.machine,
    c.place,
    c.part_type,
    c.is_set,
    c.position,
    c.kit,
    c.reading_kind,
    c.found_left,
    coalesce(c.chosen, 'all') = 'suspect' AS is_suspect,
    c.taken_at,
    c.reading_day,
    c.moment,
    c.stay_from,
    c.gauge_guess_mm,
    c.wear_limit_mm,
    c.value_mm,
    c.read_value,
    c.unit,
    c.result,
    c.chosen,
    c.inspector,
    c.part_temperature_c,
    c.gauge_temperature_c,
    c.is_wet,
    c.counts_twice,
    c.mended_mm - c.value_mm AS slip_mm,
    c.dry_mm - c.mended_mm AS dry_less_mm,
    coalesce(c.size_20_mm - c.dry_mm, 0) AS heat_mm,
    coalesce(c.size_20_mm, c.dry_mm) AS size_20_mm,
    coalesce(c.size_20_mm, c.dry_mm) - c.value_mm AS correction_mm,
    concat_ws(
        '; ',
        CASE
            WHEN NOT c.is_warm OR c.reading_kind = 'percent' THEN NULL
            WHEN c.reading_kind = 'clearance' THEN 'a clearance: no correction for heat'
            WHEN c.part_temperature_c IS NULL THEN 'part temperature unknown'
            WHEN c.size_20_mm IS NOT NULL THEN NULL
            WHEN c.held IS NULL THEN 'constraint unknown'
            WHEN c.part_cte IS NULL THEN 'expansion unknown'
            WHEN c.reading_kind <> 'bore' THEN 'held in a housing: only a bore can be corrected'
            ELSE 'housing unknown'
        END,
        CASE
            WHEN NOT c.is_wet OR c.reading_kind NOT IN ('remaining', 'diameter', 'bore') THEN NULL
            WHEN c.swelling_percent IS NULL THEN 'wet: growth unknown'
            WHEN c.held IS NULL THEN 'wet: constraint unknown'
            WHEN c.held <> 'free' THEN 'wet: held in a housing'
        END
    ) AS not_corrected,
    CASE
        WHEN c.counts_twice AND c.reading_kind = 'remaining'
            THEN -2 * coalesce(c.size_20_mm, c.dry_mm)
        WHEN c.counts_twice THEN 2 * coalesce(c.size_20_mm, c.dry_mm)
        WHEN c.reading_kind IN ('remaining', 'diameter')
            THEN -coalesce(c.size_20_mm, c.dry_mm)
        WHEN c.reading_kind = 'percent' THEN c.dry_mm / 100 * c.wear_limit_mm
        ELSE coalesce(c.size_20_mm, c.dry_mm)
    END AS grown_mm
FROM corrected AS c
