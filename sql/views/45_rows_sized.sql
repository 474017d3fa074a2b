-- Readings that count, with the proposals of row doubts applied and sizes brought to 20 C and dry.
-- size_20_mm is the value corrected; correction_mm what was added to it; not_corrected says why a
-- heat correction that was called for could not be made; grown_mm rises with wear.
CREATE OR REPLACE TEMP TABLE rows_sized AS
WITH counted AS (
    SELECT
        m.*,
        m.value_mm * coalesce(s.factor, 1) AS mended_mm
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
            WHEN d.part_temperature_c IS NULL OR d.reading_kind IN ('percent', 'clearance')
                THEN d.dry_mm
            WHEN d.held = 'free'
                THEN size_at_20c(
                    d.dry_mm, d.part_temperature_c, d.gauge_temperature_c, d.part_cte, 11.5e-6
                )
            WHEN d.held = 'pressed' AND d.reading_kind = 'bore'
                THEN pressed_bore_at_20c(
                    size_at_20c(d.dry_mm, 20, d.gauge_temperature_c, 0, 11.5e-6),
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
    coalesce(c.size_20_mm, c.dry_mm) AS size_20_mm,
    coalesce(c.size_20_mm, c.dry_mm) - c.value_mm AS correction_mm,
    CASE
        WHEN c.size_20_mm IS NOT NULL THEN ''
        WHEN c.held IS NULL THEN 'constraint unknown'
        WHEN c.part_cte IS NULL THEN 'expansion unknown'
        WHEN c.reading_kind <> 'bore' THEN 'held in a housing: only a bore can be corrected'
        ELSE 'housing unknown'
    END AS not_corrected,
    CASE
        WHEN c.reading_kind IN ('remaining', 'diameter')
            THEN -coalesce(c.size_20_mm, c.dry_mm)
        WHEN c.reading_kind = 'percent' THEN c.dry_mm / 100 * c.wear_limit_mm
        ELSE coalesce(c.size_20_mm, c.dry_mm)
    END AS grown_mm
FROM corrected AS c
