-- Visits to sets of known age, at which some of their pieces were read without a position. Pieces
-- replaced before are younger than the set: mean_age and mean_square_age are those of its pieces.
CREATE OR REPLACE TEMP TABLE visits AS
WITH read_sets AS (
    SELECT
        concat_ws(' ', a.machine, a.piece, a.reading_day) AS visit,
        a.spell_no,
        a.machine,
        a.part_type,
        a.duty_group,
        a.piece AS unit,
        a.reading_day,
        max(a.quantity) AS quantity,
        max(a.moment) AS moment,
        max(a.meter_hours) AS meter_hours,
        max(a.age) AS age,
        count(*) AS readings,
        sum(a.wear_mm) AS sy,
        sum(a.wear_mm * a.wear_mm) AS syy
    FROM aged AS a
    WHERE a.is_set AND NOT a.is_suspect AND a.age IS NOT NULL
    GROUP BY ALL
),

renewed AS (
    SELECT
        r.visit,
        sum(c.replaced) AS replaced,
        sum(c.replaced) FILTER (NOT c.by_failure) AS culled,
        sum(c.replaced * c.age) AS hours_lost,
        sum(c.replaced * (r.age * r.age - (r.age - c.age) * (r.age - c.age))) AS squares_lost
    FROM read_sets AS r
    INNER JOIN set_renewals AS c ON r.unit = c.unit AND r.moment > c.moment
    GROUP BY r.visit
)

SELECT
    r.*,
    CASE
        WHEN r.unit = concat_ws(' ', r.machine, p.place, r.part_type) THEN ''
        ELSE r.unit
    END AS kit,
    coalesce(c.replaced, 0) / greatest(r.quantity, 1) AS replaced_share,
    coalesce(c.culled, 0) / greatest(r.quantity, 1) AS culled_share,
    r.age - coalesce(c.hours_lost, 0) / greatest(r.quantity, 1) AS mean_age,
    r.age * r.age - coalesce(c.squares_lost, 0) / greatest(r.quantity, 1) AS mean_square_age
FROM read_sets AS r
INNER JOIN spells AS p ON r.spell_no = p.spell_no
LEFT JOIN renewed AS c ON r.visit = c.visit
ORDER BY r.machine, r.unit, r.reading_day
