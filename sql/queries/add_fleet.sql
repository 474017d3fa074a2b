-- Adds the rows of fleet that are not known yet; the number added is the rows accepted.
-- A row is known only if it equals the version last imported under its key.
-- $import_no, $file: of this import. $backfill: the rows were known when they happened.
-- $imported_at, $delay_days: when the others became known.
INSERT INTO log_fleet
BY NAME
WITH standing AS (
    SELECT l.*
    FROM log_fleet AS l
    ANTI JOIN withdrawn() AS w ON l.import_no = w.import_no
    QUALIFY l.import_no = max(l.import_no) OVER (
        PARTITION BY l.machine, l.place, l.part_type, l.positions, l.from_day
    )
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
    LEFT JOIN repeats AS r ON t.row_no = r.row_no
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
        AND f.logged IS NOT DISTINCT FROM a.logged
        AND f.serialised IS NOT DISTINCT FROM a.serialised
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
