-- Falls that the gauge does not explain and no exchange of positions does.
CREATE OR REPLACE TEMP VIEW fallen AS
WITH swaps AS (
    SELECT
        s.machine,
        s.place,
        s.reading_day AS swap_day,
        unnest([s.fallen, s.risen]) AS position
    FROM swapped_positions AS s
)

SELECT f.*
FROM falls AS f
ANTI JOIN swaps AS s
    ON
        f.machine = s.machine
        AND f.place = s.place
        AND f.position = s.position
        AND (f.reading_day = s.swap_day OR f.before_moment::DATE = s.swap_day)
WHERE
    f.fall_mm > f.explained_mm
    AND (
        f.fall_mm > 2 * f.explained_mm
        OR f.after_mm < f.before_mm - f.explained_mm / 2
        OR (f.after_mm IS NULL AND f.fall_mm > 1.5 * f.explained_mm)
    )
QUALIFY row_number() OVER (
    PARTITION BY f.machine, f.place, f.position, f.before_moment, f.moment
    ORDER BY f.fall_mm DESC, f.reading_kind ASC
) = 1
