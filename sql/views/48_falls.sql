-- Readings at positions with the one before and the one after them in the same logged stay, and
-- what the gauge explains: three times its sd times root two, and at least a twentieth of the
-- limit.
-- The first depth of a logged new piece is compared with no wear at all.
CREATE OR REPLACE TEMP TABLE falls AS
WITH in_stay AS (
    SELECT
        r.machine,
        r.place,
        r.position,
        r.part_type,
        r.reading_kind,
        r.reading_day,
        r.taken_at,
        r.moment,
        r.grown_mm,
        greatest(3 * sqrt(2) * r.gauge_guess_mm, r.wear_limit_mm / 20, 0.05) AS explained_mm,
        coalesce(
            lag(r.grown_mm) OVER in_time,
            CASE
                WHEN r.stay_from IS NOT NULL AND r.reading_kind IN ('wear_depth', 'percent') THEN 0
            END
        ) AS before_mm,
        coalesce(lag(r.moment) OVER in_time, r.stay_from) AS before_moment,
        lead(r.grown_mm) OVER in_time AS after_mm
    FROM rows_used AS r
    WHERE NOT r.is_set
    WINDOW in_time AS (
        PARTITION BY r.machine, r.place, r.position, r.stay_from, r.reading_kind
        ORDER BY r.moment, r.grown_mm, r.file, r.file_line
    )
)

SELECT
    s.*,
    s.before_mm - s.grown_mm AS fall_mm
FROM in_stay AS s
WHERE s.before_mm IS NOT NULL AND s.before_moment < s.moment
ORDER BY s.machine, s.place, s.position, s.moment
