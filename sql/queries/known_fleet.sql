-- Finds the rows of fleet at hand that are known, and the rows they are the same as.
-- A row is known only if it equals the version last imported under its key; blank means default.
-- $import_no: of this import, whose own rows are not meant.
CREATE OR REPLACE TEMP TABLE known AS
WITH standing AS (
    SELECT l.*
    FROM log_fleet AS l
    INNER JOIN standing_rows() AS s
        ON
            l.import_no = s.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN s.first_row AND s.last_row
    WHERE l.import_no <> $import_no::BIGINT
    QUALIFY s.stands_by = max(s.stands_by) OVER (
        PARTITION BY l.machine, l.place, l.part_type, l.positions, l.from_day
    )
),

fresh AS (
    SELECT
        t.*,
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.machine, t.part_type, t.positions, t.plant_line,
            t.place, t.from_day, t.until_day, t.start_state, coalesce(t.logged, 'every_job'),
            coalesce(t.serialised, 'yes'), t.past_policy, t.kit, t.zone, t.pressure_mpa,
            t.speed_m_s, t.temperature_c, t.medium, t.duty_group, t.clock_per_hour, t.shaft_mm
        ) AS row_hash
    FROM ready AS t
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.part_type, l.positions, l.plant_line,
            l.place, l.from_day, l.until_day, l.start_state, coalesce(l.logged, 'every_job'),
            coalesce(l.serialised, 'yes'), l.past_policy, l.kit, l.zone, l.pressure_mpa,
            l.speed_m_s, l.temperature_c, l.medium, l.duty_group, l.clock_per_hour, l.shaft_mm
        ) AS row_hash
    FROM standing AS l
)

SELECT
    f.row_no,
    a.import_no AS brought_by,
    coalesce(a.nth_row, a.file_line) AS brought_row
FROM fresh AS f
INNER JOIN alike AS a
    ON
        f.row_hash = a.row_hash
        AND f.copy_no = a.copy_no
        AND f.plant IS NOT DISTINCT FROM a.plant
        AND f.note IS NOT DISTINCT FROM a.note
        AND f.extra IS NOT DISTINCT FROM a.extra
        AND f.machine IS NOT DISTINCT FROM a.machine
        AND f.part_type IS NOT DISTINCT FROM a.part_type
        AND f.positions IS NOT DISTINCT FROM a.positions
        AND f.plant_line IS NOT DISTINCT FROM a.plant_line
        AND f.place IS NOT DISTINCT FROM a.place
        AND f.from_day IS NOT DISTINCT FROM a.from_day
        AND f.until_day IS NOT DISTINCT FROM a.until_day
        AND f.start_state IS NOT DISTINCT FROM a.start_state
        AND coalesce(f.logged, 'every_job') IS NOT DISTINCT FROM coalesce(a.logged, 'every_job')
        AND coalesce(f.serialised, 'yes') IS NOT DISTINCT FROM coalesce(a.serialised, 'yes')
        AND f.past_policy IS NOT DISTINCT FROM a.past_policy
        AND f.kit IS NOT DISTINCT FROM a.kit
        AND f.zone IS NOT DISTINCT FROM a.zone
        AND f.pressure_mpa IS NOT DISTINCT FROM a.pressure_mpa
        AND f.speed_m_s IS NOT DISTINCT FROM a.speed_m_s
        AND f.temperature_c IS NOT DISTINCT FROM a.temperature_c
        AND f.medium IS NOT DISTINCT FROM a.medium
        AND f.duty_group IS NOT DISTINCT FROM a.duty_group
        AND f.clock_per_hour IS NOT DISTINCT FROM a.clock_per_hour
        AND f.shaft_mm IS NOT DISTINCT FROM a.shaft_mm
