-- Readings as known on the day.
-- A later import with the same key and other values amends: the old row leaves. Few keys come in
-- two imports, so those are found first by a hash that lives no longer than the statement.
CREATE OR REPLACE TEMP VIEW readings AS
WITH live AS NOT MATERIALIZED (
    SELECT
        l.*,
        hash(
            l.machine, l.taken_at, l.place, l.position, l.piece, l.kit, l.part_type,
            l.reading_kind, l.found_left
        ) AS key_hash
    FROM log_readings AS l
    SEMI JOIN live_rows() AS i
        ON
            l.import_no = i.import_no
            AND coalesce(l.nth_row, l.file_line) BETWEEN i.first_row AND i.last_row
    WHERE l.known_at::DATE <= getvariable('day')
),

in_two_imports AS (
    SELECT l.key_hash
    FROM live AS l
    GROUP BY l.key_hash
    HAVING min(l.import_no) < max(l.import_no)
),

amended AS (
    SELECT
        l.import_no,
        l.file,
        l.file_line,
        l.copy_no,
        l.key_hash
    FROM live AS l
    SEMI JOIN in_two_imports AS t ON l.key_hash = t.key_hash
    WINDOW
        same_key AS (
            PARTITION BY
                l.machine, l.taken_at, l.place, l.position, l.piece, l.kit, l.part_type,
                l.reading_kind, l.found_left
        )
    QUALIFY
        l.import_no < max(l.import_no) OVER same_key
        AND hash(l.value_mm, l.read_value, l.result, l.part_temperature_c) <> max_by(
            hash(l.value_mm, l.read_value, l.result, l.part_temperature_c),
            (l.import_no, l.file, l.file_line, l.copy_no)
        ) OVER same_key
)

SELECT l.* EXCLUDE (key_hash) -- noqa: RF02
FROM live AS l
ANTI JOIN amended AS a
    ON
        l.import_no = a.import_no
        AND l.file = a.file
        AND l.file_line = a.file_line
        AND l.copy_no = a.copy_no
        AND l.key_hash = a.key_hash
