-- When a row became known: when it was reported; in a backfill when it happened and the usual
-- delay had passed, or always where it has no date of its own; else when it was imported.
CREATE OR REPLACE TEMP MACRO known_at(reported_at, happened_at, backfill, imported_at, delay) AS
CASE
    WHEN reported_at IS NOT NULL THEN reported_at
    WHEN NOT backfill THEN imported_at
    WHEN happened_at IS NULL THEN timestamp '1970-01-01'
    ELSE least(happened_at + to_days(delay), imported_at)
END
