-- How far two readings of one piece on one day differ, by part type: from pairs of two inspectors
-- if there are ten of them (repeatability and reproducibility), else from all pairs. A row
-- repeated as it stands is no second reading.
CREATE OR REPLACE TEMP TABLE gauge_repeats AS
WITH by_inspector AS (
    SELECT
        a.part_type,
        a.spell_no,
        a.reading_kind,
        a.reading_day,
        a.found_left,
        a.inspector,
        count(*) AS n,
        sum(a.wear_mm) AS sy,
        sum(a.wear_mm * a.wear_mm) AS syy
    FROM aged AS a
    WHERE NOT a.is_set AND a.copy_no = 1
    GROUP BY ALL
),

by_piece AS (
    SELECT
        i.part_type,
        sum(i.n) AS n,
        sum(i.sy) AS sy,
        sum(i.syy) AS syy,
        sum(i.n * (i.n - 1)) / 2 AS same_pairs,
        sum(i.n * i.syy - i.sy * i.sy) AS same_squares
    FROM by_inspector AS i
    GROUP BY i.part_type, i.spell_no, i.reading_kind, i.reading_day, i.found_left
    HAVING sum(i.n) >= 2
),

pairs AS (
    SELECT
        p.part_type,
        sum(p.n * (p.n - 1)) / 2 AS all_pairs,
        sum(p.n * p.syy - p.sy * p.sy) AS all_squares,
        sum(p.same_pairs) AS same_pairs,
        sum(p.same_squares) AS same_squares
    FROM by_piece AS p
    GROUP BY p.part_type
)

SELECT
    p.part_type,
    CASE
        WHEN p.all_pairs - p.same_pairs >= 10 THEN p.all_pairs - p.same_pairs ELSE p.all_pairs
    END::BIGINT AS pairs,
    p.all_pairs - p.same_pairs >= 10 AS by_inspectors,
    sqrt(
        CASE
            WHEN p.all_pairs - p.same_pairs >= 10
                THEN
                    (p.all_squares - p.same_squares)::DOUBLE
                    / (2 * (p.all_pairs - p.same_pairs)::DOUBLE)
            ELSE p.all_squares::DOUBLE / (2 * p.all_pairs::DOUBLE)
        END
    ) AS sd_mm
FROM pairs AS p
WHERE p.all_pairs >= 10
ORDER BY p.part_type
