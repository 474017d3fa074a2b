-- Readings of pieces and sets whose age nobody knows, one row a piece or set and day: ran is what
-- it has run since the watch began, so that its age is ran and a start age that the depths may
-- tell.
CREATE OR REPLACE TEMP TABLE unaged AS
WITH read_then AS (
    SELECT
        concat_ws(' ', a.machine, a.piece, a.reading_day) AS visit,
        a.spell_no,
        a.machine,
        a.place,
        CASE WHEN a.is_set THEN '' ELSE a.position END AS position,
        a.part_type,
        a.duty_group,
        a.piece,
        a.is_set,
        a.reading_day,
        max(a.quantity) AS quantity,
        max(a.moment) AS moment,
        max(a.meter_hours) AS meter_hours,
        max(a.ran) AS ran,
        count(*) AS readings,
        sum(a.wear_mm) AS sy,
        sum(a.wear_mm * a.wear_mm) AS syy
    FROM aged AS a
    WHERE a.age IS NULL AND a.ran IS NOT NULL AND NOT a.is_suspect
    GROUP BY ALL
),

renewed AS (
    SELECT
        r.visit,
        sum(c.replaced) AS replaced,
        sum(c.replaced) FILTER (NOT c.by_failure) AS culled
    FROM read_then AS r
    INNER JOIN set_renewals AS c ON r.piece = c.unit AND r.moment > c.moment
    WHERE r.is_set
    GROUP BY r.visit
)

SELECT
    r.*,
    coalesce(c.replaced, 0) / greatest(r.quantity, 1) AS replaced_share,
    coalesce(c.culled, 0) / greatest(r.quantity, 1) AS culled_share
FROM read_then AS r
LEFT JOIN renewed AS c ON r.visit = c.visit
ORDER BY r.machine, r.piece, r.reading_day
