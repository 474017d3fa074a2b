-- How many rows are staged, how many of them are blank, and how many have cells so far beyond the
-- header that they stand in columns which only pad.
-- $pads: those columns.
SELECT
    count(*) AS staged,
    count(*) - count(filled) AS blank,
    count(coalesce(*COLUMNS(LAMBDA c: list_contains($pads::VARCHAR[], c)))) AS beyond
FROM staged
