-- Where parts sit, as known on the day: one row a machine, place, part type and positions. The
-- first version says when and how the watch began, the last one everything else.
CREATE OR REPLACE TEMP VIEW fleet AS
WITH versions AS (
    SELECT l.*
    FROM log_fleet AS l
    SEMI JOIN live_rows() AS i
        ON
            l.import_no = i.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN i.first_row AND i.last_row
    WHERE l.known_at::DATE <= getvariable('day')
    QUALIFY row_number() OVER (
        PARTITION BY l.machine, l.place, l.part_type, l.positions, l.from_day
        ORDER BY l.import_no DESC, l.file DESC, l.file_line DESC, l.copy_no DESC
    ) = 1
),

ordered AS (
    SELECT
        v.*,
        row_number() OVER versions_of AS version_no,
        first_value(v.from_day) OVER versions_of AS first_day,
        first_value(v.start_state) OVER versions_of AS first_state
    FROM versions AS v
    WINDOW versions_of AS (
        PARTITION BY v.machine, v.place, v.part_type, v.positions
        ORDER BY v.from_day NULLS FIRST, v.import_no, v.file, v.file_line
    )
)

SELECT o.* EXCLUDE (o.version_no)
FROM ordered AS o
QUALIFY
    row_number() OVER (
        PARTITION BY o.machine, o.place, o.part_type, o.positions ORDER BY o.version_no DESC
    ) = 1
