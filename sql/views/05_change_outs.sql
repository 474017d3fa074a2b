-- Change-outs as known on the day.
-- A later import with the same key and other values amends: the old row leaves.
CREATE OR REPLACE TEMP VIEW change_outs AS
SELECT l.*
FROM log_change_outs AS l
SEMI JOIN live_rows() AS i
    ON
        l.import_no = i.import_no
        AND coalesce(l.nth_row, l.file_line) BETWEEN i.first_row AND i.last_row
WHERE l.known_at::DATE <= getvariable('day')
WINDOW
    same_key AS (
        PARTITION BY
            l.machine, l.taken_at, l.whole_day, l.action, l.part_type, l.place, l.position, l.kit,
            l.piece
    )
QUALIFY
    l.import_no = max(l.import_no) OVER same_key
    OR hash(l.quantity, l.reason, l.fitted_mm, l.age_at_fit, l.taken_from) = max_by(
        hash(l.quantity, l.reason, l.fitted_mm, l.age_at_fit, l.taken_from),
        (l.import_no, l.file, l.file_line, l.copy_no)
    ) OVER same_key
