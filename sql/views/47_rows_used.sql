-- Readings that count, with the one doubt applied that moves them: a reading after removal counts
-- to the piece that left, at the moment before it did, or not at all.
CREATE OR REPLACE TEMP TABLE rows_used AS
WITH judged AS (
    SELECT
        r.*,
        d.what_then
    FROM rows_sized AS r
    LEFT JOIN reading_after_removal AS d
        ON
            d.acts
            AND r.import_no = d.import_no
            AND r.file = d.file
            AND r.file_line = d.file_line
            AND r.copy_no = d.copy_no
            AND r.machine = d.machine
            AND r.place = d.place
            AND r.position = d.position
            AND r.reading_kind = d.reading_kind
            AND r.moment = d.moment
),

stays AS (
    SELECT DISTINCT
        c.machine,
        c.place,
        c.position,
        c.moment
    FROM changes AS c
    WHERE NOT c.is_set
),

moved AS (
    SELECT
        j.* REPLACE (
            j.stay_from - INTERVAL 1 SECOND AS moment,
            (j.stay_from - INTERVAL 1 SECOND)::DATE AS reading_day,
            'removed' AS found_left
        )
    FROM judged AS j
    WHERE j.what_then = 'earlier'
)

SELECT * EXCLUDE (what_then)
FROM judged
WHERE what_then IS NULL
UNION ALL BY NAME
SELECT m.* EXCLUDE (what_then) REPLACE (s.moment AS stay_from)
FROM moved AS m
ASOF LEFT JOIN stays AS s
    ON
        m.machine = s.machine
        AND m.place = s.place
        AND m.position = s.position
        AND m.moment >= s.moment
