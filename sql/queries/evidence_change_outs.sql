-- What was logged of change-outs at one position, or of one set, with its file and line.
-- $machine, $place, $position: where; $unit, $part_type: the set and its part type, '' where
-- pieces are followed one by one.
SELECT
    c.import_no,
    c.file,
    c.file_line,
    c.machine,
    c.taken_at,
    c.whole_day,
    c.taken_from,
    c.action,
    c.quantity::BIGINT AS quantity,
    c.reason,
    c.fitted_mm::DOUBLE AS fitted_mm,
    c.piece,
    c.kit,
    c.batch,
    c.age_at_fit::DOUBLE AS age_at_fit,
    coalesce(c.note, '') AS note,
    coalesce(position_name(c.position), '') AS position
FROM change_outs AS c
INNER JOIN resolved AS r
    ON
        c.machine = r.machine
        AND r.said_place IS NOT DISTINCT FROM c.place
        AND r.said_type IS NOT DISTINCT FROM c.part_type
        AND r.kit IS NOT DISTINCT FROM c.kit
CROSS JOIN until_day AS u
WHERE
    c.taken_at < u.last_moment
    AND CASE
        WHEN r.is_set
            THEN
                $unit <> ''
                AND (
                    c.kit = $unit
                    OR (
                        c.kit IS NULL
                        AND c.machine = $machine
                        AND r.place = $place
                        AND r.part_type = $part_type
                    )
                )
        ELSE
            c.machine = $machine
            AND r.place = $place
            AND coalesce(position_name(c.position), $position) = $position
    END
ORDER BY c.taken_at, c.import_no, c.file, c.file_line, c.copy_no
