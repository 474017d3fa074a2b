-- Hour meters as known on the day.
-- A later import with the same key and other values amends: the old row leaves.
CREATE OR REPLACE TEMP VIEW clocks AS
SELECT l.*
FROM log_clocks AS l
SEMI JOIN live_rows() AS i
    ON
        l.import_no = i.import_no
        AND coalesce(l.nth_row, l.file_line) BETWEEN i.first_row AND i.last_row
WHERE l.known_at::DATE <= getvariable('day')
WINDOW
    same_key AS (
        PARTITION BY l.machine, l.meter, l.taken_at
    )
QUALIFY
    l.import_no = max(l.import_no) OVER same_key
    OR hash(l.shows, l.clock, l.event, l.start_shows) = max_by(
        hash(l.shows, l.clock, l.event, l.start_shows),
        (l.import_no, l.file, l.file_line, l.copy_no)
    ) OVER same_key
