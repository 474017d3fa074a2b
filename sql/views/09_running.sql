-- Running hours of machines, lines or all (*), run or planned, as known on the day.
-- A later import with the same key and other values amends: the old row leaves.
CREATE OR REPLACE TEMP VIEW running AS
SELECT l.*
FROM log_running AS l
SEMI JOIN live_rows() AS i
    ON
        l.import_no = i.import_no
        AND coalesce(l.nth_row, l.file_line) BETWEEN i.first_row AND i.last_row
WHERE l.known_at::DATE <= getvariable('day')
WINDOW
    same_key AS (
        PARTITION BY l.run_date, l.machine, l.plant_line
    )
QUALIFY
    l.import_no = max(l.import_no) OVER same_key
    OR hash(l.running_hours, l.phase) = max_by(
        hash(l.running_hours, l.phase), (l.import_no, l.file, l.file_line, l.copy_no)
    ) OVER same_key
