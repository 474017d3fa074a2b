-- Each piece and set as it stands at the end of the last known day: where it sits or last sat, its
-- age, and how its life ended.
CREATE OR REPLACE TEMP TABLE pieces AS
WITH final_stays AS (
    SELECT s.*
    FROM spells AS s
    QUALIFY
        row_number() OVER (PARTITION BY s.piece ORDER BY s.stay_no DESC) = 1
),

read_pieces AS (
    SELECT
        a.piece,
        count(*) FILTER (NOT a.is_suspect) AS readings,
        bool_and(a.fitted_known) AS fitted_known,
        max(a.new_sd_mm) AS fitted_sd
    FROM aged AS a
    GROUP BY a.piece
),

over_at_end AS (
    SELECT DISTINCT
        o.machine,
        o.place,
        o.position,
        o.reading_day
    FROM seen AS o
    WHERE o.value_mm IS NULL AND o.result = 'over'
),

last_readings AS (
    SELECT
        a.spell_no,
        max_by(a.wear_mm, (a.moment, a.wear_mm)) AS last_mm,
        max(a.reading_day) AS last_day
    FROM aged AS a
    GROUP BY a.spell_no
),

read_types AS (
    SELECT DISTINCT r.part_type
    FROM rows_used AS r
)

SELECT
    f.spell_no,
    f.piece,
    f.machine,
    f.line,
    f.place,
    f.position,
    f.part_type,
    f.duty_group,
    f.is_set,
    f.quantity,
    f.lives_logged,
    f.first_age,
    f.end_moment IS NULL AS in_place,
    f.ended_by,
    f.end_from,
    f.end_until,
    f.end_reason,
    f.begun_by,
    f.begun_from,
    f.stated_age,
    f.stay_no,
    f.end_moment,
    f.start_moment,
    f.meter_start,
    f.meter_clock,
    f.clock_per_hour,
    f.hours_in_earlier,
    (f.first_age + f.hours_in_earlier + f.hours)::DECIMAL(12, 2) AS age,
    coalesce(r.readings, 0) AS readings,
    r.fitted_sd,
    coalesce(r.fitted_known, TRUE) AS fitted_known,
    CASE
        WHEN f.end_moment IS NULL THEN ''
        WHEN f.ended_by IN ('turned', 'unlogged', 'moved', 'watch ended') THEN ''
        WHEN f.end_reason IN ('broken', 'seized', 'chemical') THEN f.end_reason
        WHEN coalesce(f.end_reason, '') <> 'worn' THEN ''
        WHEN t.part_type IS NULL AND coalesce(f.past_policy, '') <> 'at_age' THEN 'worn'
        WHEN e.last_day = f.end_moment::DATE AND e.last_mm >= l.wear_limit_mm THEN 'worn'
        WHEN v.reading_day IS NOT NULL THEN 'worn'
        ELSE ''
    END AS mode
FROM final_stays AS f
LEFT JOIN read_pieces AS r ON f.piece = r.piece
LEFT JOIN last_readings AS e ON f.spell_no = e.spell_no
LEFT JOIN over_at_end AS v
    ON
        f.machine = v.machine
        AND f.place = v.place
        AND f.position = v.position
        AND f.end_moment::DATE = v.reading_day
LEFT JOIN read_types AS t ON f.part_type = t.part_type
LEFT JOIN limits AS l ON f.part_type = l.part_type
ORDER BY f.machine, f.place, f.position, f.start_moment, f.piece
