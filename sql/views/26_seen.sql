-- Readings at known places, with a value or only found ok or over: which position or set, in which
-- logged stay, when in the order of the day. A reading on the day of a logged change-out without
-- times belongs to the piece that its found_left says: as_found and removed to the old one,
-- as_left to the new one.
CREATE OR REPLACE TEMP TABLE seen AS
WITH known AS (
    SELECT
        r.import_no,
        r.file,
        r.file_line,
        r.copy_no,
        r.machine,
        m.place,
        m.part_type,
        m.is_set,
        coalesce(position_name(r.position), '') AS position,
        r.kit,
        r.value_mm::DOUBLE AS value_mm,
        r.read_value::DOUBLE AS read_value,
        coalesce(r.unit, '') AS unit,
        r.result,
        coalesce(
            r.reading_kind,
            CASE l.limit_measure
                WHEN 'diameter' THEN 'diameter'
                WHEN 'remaining' THEN 'remaining'
                WHEN 'elongation_percent' THEN 'pitch'
                ELSE 'wear_depth'
            END
        ) AS reading_kind,
        coalesce(r.found_left, 'as_found') AS found_left,
        r.chosen,
        coalesce(r.inspector, '') AS inspector,
        r.part_temperature_c::DOUBLE AS part_temperature_c,
        r.gauge_temperature_c::DOUBLE AS gauge_temperature_c,
        coalesce(r.wet, 'no') = 'yes' AS is_wet,
        r.taken_at,
        r.whole_day,
        r.taken_at::DATE AS reading_day,
        moment(
            r.taken_at,
            r.whole_day,
            CASE r.found_left WHEN 'as_left' THEN 5 WHEN 'removed' THEN 1 ELSE 0 END
        ) AS moment
    FROM readings AS r
    INNER JOIN resolved AS m
        ON
            r.machine = m.machine
            AND m.said_place IS NOT DISTINCT FROM r.place
            AND m.said_type IS NOT DISTINCT FROM r.part_type
            AND m.kit IS NOT DISTINCT FROM r.kit
    LEFT JOIN limits AS l ON m.part_type = l.part_type
    CROSS JOIN until_day AS u
    WHERE
        (r.value_mm IS NOT NULL OR r.result IN ('ok', 'over'))
        AND coalesce(r.result, 'ok') <> 'not_measured'
        AND (m.is_set OR r.position IS NOT NULL)
        AND r.taken_at < u.last_moment
),

change_days AS (
    SELECT
        c.machine,
        c.place,
        c.position,
        c.change_day,
        bool_or(c.whole_day) AS whole_day,
        min(c.moment) AS first_moment,
        max(c.moment) AS final_moment
    FROM changes AS c
    WHERE NOT c.is_set
    GROUP BY ALL
),

in_order AS (
    SELECT
        k.* REPLACE (
            CASE
                WHEN d.change_day IS NULL THEN k.moment
                WHEN k.found_left = 'removed'
                    THEN least(k.moment, d.first_moment - INTERVAL 1 SECOND)
                WHEN NOT (k.whole_day OR d.whole_day) THEN k.moment
                WHEN k.found_left = 'as_left'
                    THEN greatest(k.moment, d.final_moment + INTERVAL 1 SECOND)
                ELSE least(k.moment, d.first_moment - INTERVAL 2 SECOND)
            END AS moment
        )
    FROM known AS k
    LEFT JOIN change_days AS d
        ON
            k.machine = d.machine
            AND k.place = d.place
            AND k.position = d.position
            AND k.reading_day = d.change_day
),

stays AS (
    SELECT DISTINCT
        c.machine,
        c.place,
        c.position,
        c.moment
    FROM changes AS c
    WHERE NOT c.is_set
)

SELECT
    o.*,
    s.moment AS stay_from
FROM in_order AS o
ASOF LEFT JOIN stays AS s
    ON
        o.machine = s.machine
        AND o.place = s.place
        AND o.position = s.position
        AND o.moment >= s.moment
