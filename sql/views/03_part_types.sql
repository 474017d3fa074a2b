-- Part types as known on the day, every version: its span begins at holds_from. The first version
-- holds from always, a later one from valid_from, else from the day it became known.
CREATE OR REPLACE TEMP VIEW part_types AS
WITH versions AS (
    SELECT
        l.*,
        coalesce(l.valid_from, l.known_at::DATE) AS version_from
    FROM log_part_types AS l
    SEMI JOIN live_rows() AS i
        ON
            l.import_no = i.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN i.first_row AND i.last_row
    WHERE l.known_at::DATE <= getvariable('day')
    QUALIFY row_number() OVER (
        PARTITION BY l.part_type, version_from
        ORDER BY l.import_no DESC, l.file DESC, l.file_line DESC, l.copy_no DESC
    ) = 1
)

SELECT
    v.*,
    CASE
        WHEN row_number() OVER (PARTITION BY v.part_type ORDER BY v.version_from) = 1
            THEN DATE '0001-01-01'
        ELSE v.version_from
    END AS holds_from
FROM versions AS v
