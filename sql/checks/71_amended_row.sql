-- Rows of a later import have the same key as earlier ones, and other values.
-- Default: as proposed (the later rows count).
CREATE OR REPLACE TEMP TABLE amended_row AS
WITH known AS (
    SELECT
        r.machine,
        r.taken_at::DATE AS row_day,
        'readings' AS kind,
        1 AS known_rows
    FROM log_readings AS r
    SEMI JOIN live_imports AS i ON r.import_no = i.import_no
    WHERE r.known_at::DATE <= getvariable('day')
    UNION ALL
    SELECT
        c.machine,
        c.taken_at::DATE AS row_day,
        'change_outs' AS kind,
        1 AS known_rows
    FROM log_change_outs AS c
    SEMI JOIN live_imports AS i ON c.import_no = i.import_no
    WHERE c.known_at::DATE <= getvariable('day')
    UNION ALL
    SELECT
        c.machine,
        c.taken_at::DATE AS row_day,
        'clocks' AS kind,
        1 AS known_rows
    FROM log_clocks AS c
    SEMI JOIN live_imports AS i ON c.import_no = i.import_no
    WHERE c.known_at::DATE <= getvariable('day')
    UNION ALL
    SELECT
        r.machine,
        r.taken_at::DATE AS row_day,
        'readings' AS kind,
        -1 AS known_rows
    FROM readings AS r
    UNION ALL
    SELECT
        c.machine,
        c.taken_at::DATE AS row_day,
        'change_outs' AS kind,
        -1 AS known_rows
    FROM change_outs AS c
    UNION ALL
    SELECT
        c.machine,
        c.taken_at::DATE AS row_day,
        'clocks' AS kind,
        -1 AS known_rows
    FROM clocks AS c
),

amended AS (
    SELECT
        k.machine,
        k.row_day,
        k.kind,
        sum(k.known_rows)::BIGINT AS rows_amended
    FROM known AS k
    GROUP BY k.machine, k.row_day, k.kind
    HAVING sum(k.known_rows) > 0
),

named AS (
    SELECT
        a.*,
        doubt_id('amended row', concat_ws('|', a.machine, a.kind), a.row_day) AS id
    FROM amended AS a
)

SELECT
    n.id,
    'amended row' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    n.row_day::TIMESTAMP AS taken_at,
    printf(
        'a later import changed %d row%s of %s',
        n.rows_amended, CASE WHEN n.rows_amended = 1 THEN '' ELSE 's' END, n.kind
    ) AS what,
    'the later rows count' AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    TRUE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.row_day, n.kind
