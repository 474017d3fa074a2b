-- Adds the rows of fleet that are not known yet; the number added is the rows accepted.
-- A row is known only if it equals the version last imported under its key.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_fleet
BY NAME
WITH withdrawn AS (
    SELECT d.subject
    FROM decided AS d
    WHERE d.about = 'import' AND d.settled_as = 'withdrawn'
),

standing AS (
    SELECT l.*
    FROM log_fleet AS l
    ANTI JOIN withdrawn AS w ON w.subject = l.import_no::VARCHAR
    QUALIFY l.import_no = max(l.import_no) OVER (PARTITION BY l.machine, l.place, l.part_type, l.positions, l.from_day)
),

fresh AS (
    SELECT
        t.* EXCLUDE (row_no, faulty, row_fault),
        coalesce(r.copy_no, 1) AS copy_no,
        hash(
            t.plant, t.note, t.extra, t.machine, t.part_type, t.positions, t.plant_line, t.place,
            t.from_day, t.until_day, t.start_state, t.logged, t.serialised, t.past_policy, t.kit,
            t.zone, t.pressure_mpa, t.speed_m_s, t.temperature_c, t.medium, t.duty_group,
            t.clock_per_hour, t.shaft_mm
        ) AS row_hash
    FROM typed AS t
    LEFT JOIN repeats AS r ON r.row_no = t.row_no
    WHERE NOT t.faulty
),

alike AS (
    SELECT
        l.*,
        hash(
            l.plant, l.note, l.extra, l.machine, l.part_type, l.positions, l.plant_line, l.place,
            l.from_day, l.until_day, l.start_state, l.logged, l.serialised, l.past_policy, l.kit,
            l.zone, l.pressure_mpa, l.speed_m_s, l.temperature_c, l.medium, l.duty_group,
            l.clock_per_hour, l.shaft_mm
        ) AS row_hash
    FROM standing AS l
)

SELECT
    $import_no::BIGINT AS import_no,
    $file::VARCHAR AS file,
    known_at(
        f.reported_at, f.from_day::TIMESTAMP, $backfill::BOOLEAN, $imported_at::TIMESTAMP,
        $delay_days::INTEGER
    ) AS known_at,
    f.* EXCLUDE (reported_at, row_hash)
FROM fresh AS f
ANTI JOIN alike AS a
    ON
        a.row_hash = f.row_hash
        AND a.copy_no = f.copy_no
        AND a.plant IS NOT DISTINCT FROM f.plant
        AND a.note IS NOT DISTINCT FROM f.note
        AND a.extra IS NOT DISTINCT FROM f.extra
        AND a.machine IS NOT DISTINCT FROM f.machine
        AND a.part_type IS NOT DISTINCT FROM f.part_type
        AND a.positions IS NOT DISTINCT FROM f.positions
        AND a.plant_line IS NOT DISTINCT FROM f.plant_line
        AND a.place IS NOT DISTINCT FROM f.place
        AND a.from_day IS NOT DISTINCT FROM f.from_day
        AND a.until_day IS NOT DISTINCT FROM f.until_day
        AND a.start_state IS NOT DISTINCT FROM f.start_state
        AND a.logged IS NOT DISTINCT FROM f.logged
        AND a.serialised IS NOT DISTINCT FROM f.serialised
        AND a.past_policy IS NOT DISTINCT FROM f.past_policy
        AND a.kit IS NOT DISTINCT FROM f.kit
        AND a.zone IS NOT DISTINCT FROM f.zone
        AND a.pressure_mpa IS NOT DISTINCT FROM f.pressure_mpa
        AND a.speed_m_s IS NOT DISTINCT FROM f.speed_m_s
        AND a.temperature_c IS NOT DISTINCT FROM f.temperature_c
        AND a.medium IS NOT DISTINCT FROM f.medium
        AND a.duty_group IS NOT DISTINCT FROM f.duty_group
        AND a.clock_per_hour IS NOT DISTINCT FROM f.clock_per_hour
        AND a.shaft_mm IS NOT DISTINCT FROM f.shaft_mm
