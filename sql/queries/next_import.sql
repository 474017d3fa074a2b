-- The number of the next import, and whether the store is empty.
SELECT
    coalesce(max(i.import_no), 0) + 1 AS import_no,
    count(*) = 0 AS is_first
FROM imports AS i
