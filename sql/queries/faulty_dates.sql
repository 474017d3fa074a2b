-- How the dates that could not be read are written: proofs of day first and of month first, dates
-- that differ by how they are read, one of them, and how many rows are sound.
WITH cells AS (
    SELECT to_json(s) ->> k.stored_as AS cell
    FROM typed AS t
    INNER JOIN staged AS s ON t.row_no = s.rowid
    CROSS JOIN kind_columns AS k
    WHERE t.faulty AND k.type IN ('time', 'date')
),

parts AS (
    SELECT
        c.cell,
        regexp_extract(c.cell, '^([0-9]{1,2})[./-]', 1)::INTEGER AS first_part,
        regexp_extract(c.cell, '^[0-9]{1,2}[./-]([0-9]{1,2})[./-]', 1)::INTEGER AS second_part
    FROM cells AS c
    WHERE regexp_matches(c.cell, '^[0-9]{1,2}[./-][0-9]{1,2}[./-]([0-9]{4}|[0-9]{2})([T ]|$)')
)

SELECT
    count(*) AS dates,
    count(*) FILTER (WHERE p.first_part > 12 AND p.second_part <= 12) AS day_first,
    count(*) FILTER (WHERE p.second_part > 12 AND p.first_part <= 12) AS month_first,
    count(*) FILTER (
        WHERE p.first_part <= 12 AND p.second_part <= 12 AND p.first_part <> p.second_part
    ) AS both_ways,
    min(p.cell) FILTER (
        WHERE p.first_part <= 12 AND p.second_part <= 12 AND p.first_part <> p.second_part
    ) AS example,
    min(p.cell) FILTER (WHERE p.first_part > 12) AS day_first_example,
    min(p.cell) FILTER (WHERE p.second_part > 12) AS month_first_example,
    (SELECT count(*) FROM typed AS t WHERE NOT t.faulty) AS sound
FROM parts AS p
