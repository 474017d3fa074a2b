-- Sets the faulty rows aside: the first fault names column and rule, the hint names the rest.
-- A row that was set aside before and is refused again is kept once; so is one that comes back
-- under its set_aside_id. Mendable holds the row as it is exported: what could be read in the
-- contract's own writing, the rest as it stands.
-- $import_no, $file: of this import.
INSERT INTO set_aside
BY NAME
WITH bad AS (
    SELECT
        t.row_no,
        t.file_line,
        t.row_fault,
        s.wide_header,
        s.more1,
        s.set_aside_id,
        (to_json(s)::JSON) AS raw_row
    FROM typed AS t
    INNER JOIN staged AS s ON t.row_no = s.rowid
    WHERE t.faulty
),

cells AS (
    SELECT
        b.row_no,
        b.file_line,
        b.wide_header,
        k.*,
        b.raw_row ->> k.stored_as AS cell
    FROM bad AS b
    CROSS JOIN kind_columns AS k
),

read_once AS (
    SELECT
        c.*,
        CASE WHEN c.type IN ('time', 'date') THEN read_time(c.cell) END AS moment,
        CASE
            WHEN c.stored_as = 'read_value' THEN read_length(c.cell, 1)
            WHEN c.type = 'length' THEN read_sized(c.stored_as, c.cell)
            WHEN c.type IN ('number', 'whole', 'start') THEN read_number(c.cell)
        END AS number
    FROM cells AS c
),

faults AS (
    SELECT
        c.row_no,
        c.place,
        c.name,
        c.words,
        c.cell,
        CASE
            WHEN c.stored_as = 'read_value' THEN coalesce(c.wide_header, c.header)
            ELSE c.header
        END AS header,
        fault(c.stored_as, c.type, c.required, c.past, c.cell, c.moment, c.number) AS rule
    FROM read_once AS c
    UNION ALL
    SELECT
        b.row_no,
        coalesce(k.place, 0) AS place,
        k.name,
        k.words,
        coalesce(b.raw_row ->> k.stored_as, b.more1) AS cell,
        CASE
            WHEN k.stored_as = 'read_value' THEN coalesce(b.wide_header, k.header)
            ELSE coalesce(k.header, '')
        END AS header,
        b.row_fault AS rule
    FROM bad AS b
    LEFT JOIN set_aside_rules AS r ON b.row_fault = r.rule
    LEFT JOIN kind_columns AS k ON r.about = k.stored_as
    WHERE b.row_fault IS NOT NULL
),

said AS (
    SELECT
        f.row_no,
        f.place,
        f.header,
        f.cell,
        r.shown AS rule,
        replace(
            replace(
                replace(r.hint, '{words}', coalesce(f.words, '')), '{column}', coalesce(f.name, '')
            ),
            '{value}',
            coalesce(f.cell, '')
        )
        || CASE
            WHEN f.name <> lower(f.header) THEN ' (our name: ' || f.name || ')' ELSE ''
        END AS hint
    FROM faults AS f
    INNER JOIN set_aside_rules AS r ON coalesce(f.rule, '') = r.rule
),

listed AS (
    SELECT
        s.row_no,
        list(s.header ORDER BY s.place, s.rule) AS headers,
        list(s.cell ORDER BY s.place, s.rule) AS cells,
        list(s.rule ORDER BY s.place, s.rule) AS rules,
        list(s.hint ORDER BY s.place, s.rule) AS hints,
        list(
            s.header || ': ' || s.rule || coalesce(' (' || s.cell || ')', '')
            ORDER BY s.place, s.rule
        ) AS named
    FROM said AS s
    GROUP BY s.row_no
),

written AS (
    SELECT
        c.row_no,
        map_from_entries(
            list(
                (
                    c.name,
                    CASE
                        WHEN c.moment IS NOT NULL AND NOT contains(c.cell, ':')
                            THEN strftime(c.moment, '%Y-%m-%d')
                        WHEN c.moment IS NOT NULL THEN strftime(c.moment, '%Y-%m-%d %H:%M:%S')
                        WHEN c.number IS NOT NULL
                            THEN regexp_replace(c.number::VARCHAR, '[.]?0*$', '')
                        ELSE c.cell
                    END
                )
                ORDER BY c.place
            )
        ) AS mendable
    FROM read_once AS c
    GROUP BY c.row_no
),

told AS (
    SELECT
        b.row_no,
        b.file_line,
        json_merge_patch('{}', b.raw_row)::VARCHAR AS raw_row,
        to_json(w.mendable)::VARCHAR AS mendable,
        b.set_aside_id AS comes_back,
        coalesce(l.headers[1], '') AS column_name,
        l.cells[1] AS raw_value,
        coalesce(l.rules[1], 'cannot be kept') AS rule,
        coalesce(l.hints[1], 'no column of the row explains it; report this row')
        || CASE
            WHEN len(l.named) > 1 THEN '; also ' || array_to_string(l.named[2:], '; ') ELSE ''
        END AS hint
    FROM bad AS b
    INNER JOIN written AS w ON b.row_no = w.row_no
    LEFT JOIN listed AS l ON b.row_no = l.row_no
)

SELECT
    $import_no::BIGINT AS import_no,
    $file::VARCHAR AS file,
    t.file_line,
    t.column_name,
    t.raw_value,
    t.rule,
    t.hint,
    t.raw_row,
    t.mendable,
    (SELECT coalesce(max(m.set_aside_id), 0) FROM set_aside AS m)
    + row_number() OVER (ORDER BY t.row_no) AS set_aside_id
FROM told AS t
ANTI JOIN open_set_aside() AS a
    ON
        (t.file_line = a.file_line AND t.raw_row = a.raw_row AND a.file = $file::VARCHAR)
        OR t.comes_back = a.set_aside_id::VARCHAR
