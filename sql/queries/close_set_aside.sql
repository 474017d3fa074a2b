-- Closes what was set aside and is sound now: a line of the same file of which some was added or is
-- known and nothing is refused, or a row that came back under its set_aside_id.
-- $import_no, $file: of this import. $log: the table it was added to. $kind: of the log.
UPDATE set_aside
SET closed_by = $import_no::BIGINT
WHERE
    set_aside_id IN (
        WITH lines_added AS (
            SELECT l.file_line
            FROM query_table($log) AS l
            WHERE l.import_no = $import_no::BIGINT
            UNION
            SELECT t.file_line
            FROM typed AS t
            WHERE NOT t.faulty
        ),

        lines_faulty AS (
            SELECT t.file_line
            FROM typed AS t
            WHERE t.faulty
        ),

        lines_sound AS (
            SELECT l.file_line
            FROM lines_added AS l
            ANTI JOIN lines_faulty AS f ON l.file_line = f.file_line
        ),

        came_back AS (
            SELECT s.set_aside_id
            FROM typed AS t
            INNER JOIN staged AS s ON t.row_no = s.rowid
            WHERE NOT t.faulty
        )

        SELECT a.set_aside_id
        FROM open_set_aside() AS a
        SEMI JOIN lines_sound AS l ON a.file_line = l.file_line
        WHERE a.file = $file::VARCHAR
        UNION
        SELECT a.set_aside_id
        FROM open_set_aside() AS a
        SEMI JOIN came_back AS c ON a.set_aside_id::VARCHAR = c.set_aside_id
        WHERE a.kind = $kind::VARCHAR
    )
