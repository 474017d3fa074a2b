-- Where parts sit, made ready: one row a machine, place, part type and positions. A place whose
-- pieces are not serialised, or that holds kits, is a set; each of its alternatives is one unit,
-- named by its kit. in_place says which alternative of a set is in place when the watch begins:
-- the one that is removed before it is fitted, else the one with a start state, else with a kit.
CREATE OR REPLACE TEMP TABLE places AS
WITH stated AS (
    SELECT
        f.machine,
        coalesce(f.place, f.part_type) AS place,
        f.part_type,
        f.positions,
        f.kit,
        f.plant_line AS line,
        coalesce(f.first_day, DATE '1970-01-01')::TIMESTAMP AS first_moment,
        f.until_day::TIMESTAMP + INTERVAL 1 DAY AS end_moment,
        f.first_state AS start_state,
        CASE WHEN f.first_state = 'new' THEN 0 ELSE try_cast(f.first_state AS DECIMAL(12, 2)) END
            AS start_age,
        coalesce(l.clock, 'hours') AS clock,
        coalesce(f.duty_group, '') AS duty_group,
        coalesce(f.logged, 'every_job') AS logged,
        f.past_policy,
        f.shaft_mm::DOUBLE AS shaft_mm,
        CASE
            WHEN coalesce(l.clock, 'hours') = 'hours' THEN 1
            ELSE f.clock_per_hour
        END::DECIMAL(14, 6) AS clock_per_hour,
        len(position_names(f.positions)) AS quantity,
        bool_or(coalesce(f.serialised, 'yes') = 'no' OR f.kit IS NOT NULL) OVER (
            PARTITION BY f.machine, coalesce(f.place, f.part_type)
        ) AS is_set,
        f.import_no,
        f.file,
        f.file_line
    FROM fleet AS f
    LEFT JOIN limits AS l ON f.part_type = l.part_type
),

evidence AS (
    SELECT
        s.machine,
        s.place,
        s.part_type,
        s.positions,
        min(c.taken_at) FILTER (WHERE c.action = 'removed') AS removed_at,
        min(c.taken_at) FILTER (WHERE c.action = 'fitted') AS fitted_at
    FROM stated AS s
    INNER JOIN change_outs AS c
        ON
            s.machine = c.machine
            AND c.position IS NULL
            AND (s.kit = c.kit OR (c.kit IS NULL AND s.part_type = c.part_type))
    WHERE s.is_set
    GROUP BY ALL
)

SELECT
    s.* EXCLUDE (import_no, file, file_line), -- noqa: RF02
    CASE
        WHEN s.is_set THEN coalesce(s.kit, concat_ws(' ', s.machine, s.place, s.part_type))
    END AS unit,
    s.is_set AND row_number() OVER (
        PARTITION BY s.machine, s.place
        ORDER BY
            coalesce(
                e.removed_at <= e.fitted_at OR (e.removed_at IS NOT NULL AND e.fitted_at IS NULL)
                OR e.fitted_at::DATE <= s.first_moment::DATE, FALSE
            ) DESC,
            (s.start_state IS NOT NULL) DESC,
            (s.kit IS NOT NULL) DESC,
            s.positions,
            s.file ASC,
            s.file_line ASC
    ) = 1 AS in_place
FROM stated AS s
LEFT JOIN evidence AS e
    ON
        s.machine = e.machine
        AND s.place = e.place
        AND s.part_type = e.part_type
        AND s.positions = e.positions
ORDER BY s.machine, s.place, s.part_type, s.positions
