-- The same eight or more values stand in the same order under another machine or day.
-- Default: as proposed (the later ones do not count).
CREATE OR REPLACE TEMP TABLE doubled_sheet AS
WITH lines_of AS (
    SELECT
        m.import_no,
        m.file,
        m.machine,
        m.place,
        m.position,
        m.part_type,
        m.reading_day,
        m.reading_kind,
        m.value_mm,
        m.file_line,
        m.copy_no,
        row_number() OVER in_file AS line_no,
        list(m.value_mm) OVER (
            in_file ROWS BETWEEN CURRENT ROW AND 7 FOLLOWING
        ) AS eight
    FROM measured AS m
    WINDOW in_file AS (
        PARTITION BY m.import_no, m.file, m.machine, m.place, m.reading_day, m.reading_kind
        ORDER BY m.file_line, try_cast(m.position AS INTEGER), m.position, m.copy_no, m.value_mm
    )
),

runs AS (
    SELECT
        l.*,
        first_value(l.machine) OVER same_values AS first_machine,
        first_value(l.reading_day) OVER same_values AS first_day,
        first_value(l.file) OVER same_values AS first_file
    FROM lines_of AS l
    WHERE len(l.eight) = 8 AND len(list_distinct(l.eight)) >= 4
    WINDOW same_values AS (
        PARTITION BY l.place, l.reading_kind, l.eight
        ORDER BY l.reading_day, l.file, l.file_line, l.machine, l.line_no
    )
),

doubled AS (
    SELECT
        l.* EXCLUDE (eight),
        min_by(r.first_machine, r.line_no) AS first_machine,
        min_by(r.first_day, r.line_no) AS first_day,
        min_by(r.first_file, r.line_no) AS first_file
    FROM lines_of AS l
    INNER JOIN runs AS r
        ON
            l.import_no = r.import_no
            AND l.file = r.file
            AND l.machine = r.machine
            AND l.place = r.place
            AND l.reading_day = r.reading_day
            AND l.reading_kind = r.reading_kind
            AND l.line_no BETWEEN r.line_no AND r.line_no + 7
    WHERE r.machine <> r.first_machine OR r.reading_day <> r.first_day
    GROUP BY ALL
),

named AS (
    SELECT
        d.*,
        count(*) OVER same_doubt AS values_doubled,
        doubt_id(
            'doubled sheet',
            concat_ws('|', d.machine, d.first_machine, d.place),
            concat_ws('|', d.reading_day, d.first_day)
        ) AS id
    FROM doubled AS d
    WINDOW same_doubt AS (
        PARTITION BY d.machine, d.first_machine, d.place, d.reading_day, d.first_day
    )
)

SELECT
    n.id,
    'doubled sheet' AS rule,
    n.machine,
    n.place,
    NULL::VARCHAR AS position,
    n.part_type,
    n.reading_day::TIMESTAMP AS taken_at,
    printf(
        '%d values of %s (%s) stand in the same order under %s on %s (%s)',
        n.values_doubled, n.reading_day::VARCHAR, n.file, n.first_machine, n.first_day::VARCHAR,
        n.first_file
    ) AS what,
    printf('leave out these values of %s', n.reading_day::VARCHAR) AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts,
    n.import_no,
    n.file,
    n.file_line,
    n.copy_no,
    n.position AS row_position,
    n.reading_kind
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.reading_day, n.id, n.file, n.file_line, n.position
