-- Readings that count, at the position they belong to: exchanged where a swap was accepted.
CREATE OR REPLACE TEMP VIEW placed AS
WITH swaps AS (
    SELECT
        s.machine,
        s.place,
        s.reading_day,
        unnest([s.fallen, s.risen]) AS position,
        unnest([s.risen, s.fallen]) AS belongs_to,
        CASE WHEN s.comes_back THEN s.reading_day ELSE DATE '9999-12-31' END AS back_day
    FROM swapped_positions AS s
    WHERE s.acts
)

SELECT r.* REPLACE (coalesce(s.belongs_to, r.position) AS position)
FROM rows_used AS r
LEFT JOIN swaps AS s
    ON
        r.machine = s.machine
        AND r.place = s.place
        AND r.position = s.position
        AND r.reading_day BETWEEN s.reading_day AND s.back_day
