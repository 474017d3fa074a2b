-- A reading is a factor of 25.4 or 10 away from what the readings before and after it say, by the
-- hours run between them.
-- Default: as proposed (the value counts in the unit that fits).
CREATE OR REPLACE TEMP TABLE unit_slip AS
WITH told_machines AS (
    SELECT DISTINCT h.machine
    FROM hours_by_day AS h
),

on_meter AS (
    SELECT
        r.*,
        CASE
            WHEN t.machine IS NULL THEN epoch(r.moment) / 3600
            ELSE m.hours_before + m.hours * epoch(r.moment - r.reading_day::TIMESTAMP) / 86400
        END::DOUBLE AS ran
    FROM measured AS r
    CROSS JOIN meter_days AS d
    INNER JOIN meter AS m
        ON
            r.machine = m.machine
            AND m.clock = 'hours'
            AND m.run_date = greatest(d.first_day, least(r.reading_day, d.final_day))
    LEFT JOIN told_machines AS t ON r.machine = t.machine
),

neighbours AS (
    SELECT
        m.*,
        l.gauge_guess_mm,
        CASE WHEN m.reading_kind IN ('remaining', 'diameter') THEN -1 ELSE 1 END AS sense,
        lag(m.value_mm) OVER in_time AS value_before,
        lead(m.value_mm) OVER in_time AS value_after,
        lag(m.ran) OVER in_time AS ran_before,
        lead(m.ran) OVER in_time AS ran_after
    FROM on_meter AS m
    INNER JOIN limits AS l ON m.part_type = l.part_type
    WHERE NOT m.is_set
    WINDOW in_time AS (
        PARTITION BY m.machine, m.place, m.position, m.stay_from, m.reading_kind
        ORDER BY m.moment, m.value_mm, m.file, m.file_line, m.copy_no
    )
),

visits AS (
    SELECT
        m.machine,
        m.place,
        m.part_type,
        m.kit,
        m.reading_kind,
        m.reading_day,
        median(m.value_mm) AS middle,
        max(m.ran) AS ran
    FROM on_meter AS m
    WHERE m.is_set
    GROUP BY ALL
),

visits_around AS (
    SELECT
        v.*,
        lag(v.middle) OVER in_time AS middle_before,
        lead(v.middle) OVER in_time AS middle_after,
        lag(v.ran) OVER in_time AS ran_before,
        lead(v.ran) OVER in_time AS ran_after
    FROM visits AS v
    WINDOW in_time AS (
        PARTITION BY v.machine, v.place, v.part_type, v.kit, v.reading_kind
        ORDER BY v.reading_day
    )
),

expected AS (
    SELECT
        n.*,
        CASE
            WHEN n.value_before IS NULL THEN n.value_after
            WHEN n.value_after IS NULL THEN n.value_before
            WHEN (n.value_after - n.value_before) * n.sense >= -3 * n.gauge_guess_mm
                THEN
                    n.value_before
                    + (n.value_after - n.value_before)
                    * (n.ran - n.ran_before) / greatest(n.ran_after - n.ran_before, 1e-6)
        END AS expected_mm,
        n.value_before IS NOT NULL AS known_before,
        n.value_after IS NOT NULL AS known_after,
        coalesce(
            greatest(n.value_before, n.value_after) < 4 * least(n.value_before, n.value_after), TRUE
        ) AS neighbours_agree,
        n.value_mm AS judged_mm
    FROM neighbours AS n
    UNION ALL BY NAME
    SELECT
        m.*,
        l.gauge_guess_mm,
        v.middle_before
        + (v.middle_after - v.middle_before)
        * (v.ran - v.ran_before) / greatest(v.ran_after - v.ran_before, 1e-6) AS expected_mm,
        TRUE AS known_before,
        TRUE AS known_after,
        greatest(v.middle_before, v.middle_after) < 3 * least(
            v.middle_before, v.middle_after
        ) AS neighbours_agree,
        v.middle AS judged_mm
    FROM on_meter AS m
    INNER JOIN limits AS l ON m.part_type = l.part_type
    INNER JOIN visits_around AS v
        ON
            m.machine = v.machine
            AND m.place = v.place
            AND m.part_type = v.part_type
            AND v.kit IS NOT DISTINCT FROM m.kit
            AND m.reading_kind = v.reading_kind
            AND m.reading_day = v.reading_day
    WHERE m.is_set
),

bands AS (
    SELECT
        e.*,
        least(3 * e.gauge_guess_mm / e.expected_mm, 0.3) AS slack,
        unnest([25.4, 1 / 25.4, 10, 0.1])::DOUBLE AS factor
    FROM expected AS e
    WHERE
        e.judged_mm > 0
        AND e.expected_mm > e.gauge_guess_mm
        AND abs(e.judged_mm - e.expected_mm) > 5 * e.gauge_guess_mm
),

slips AS (
    SELECT b.*
    FROM bands AS b
    WHERE
        b.judged_mm * b.factor / b.expected_mm
        BETWEEN 24 / 25.4 * (1 - b.slack) AND 27 / 25.4 * (1 + b.slack)
        AND CASE
            WHEN b.factor > 1
                THEN b.known_before AND b.expected_mm > 5 * b.gauge_guess_mm
            ELSE b.neighbours_agree
        END
        AND (
            b.factor IN (25.4, 1 / 25.4)
            OR (
                b.known_before AND b.known_after AND b.neighbours_agree
                AND b.expected_mm > 5 * b.gauge_guess_mm
            )
        )
    QUALIFY row_number() OVER (
        PARTITION BY
            b.import_no, b.file, b.file_line, b.copy_no, b.machine, b.place, b.position,
            b.reading_kind, b.moment
        ORDER BY abs(ln(b.judged_mm * b.factor / b.expected_mm)), b.factor
    ) = 1
),

named AS (
    SELECT
        s.*,
        doubt_id(
            'unit slip',
            concat_ws('|', s.machine, s.place, s.position, s.reading_kind),
            concat_ws('|', s.moment, s.value_mm)
        ) AS id
    FROM slips AS s
)

SELECT
    n.id,
    'unit slip' AS rule,
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.taken_at,
    printf(
        '%.4g mm where %.2f mm was expected from the readings around it', n.value_mm, n.expected_mm
    ) AS what,
    CASE
        WHEN n.factor > 25 THEN printf('it was in inches: %.2f mm', n.value_mm * n.factor)
        WHEN n.factor < 0.05
            THEN printf('it was turned to mm twice: %.2f mm', n.value_mm * n.factor)
        ELSE printf('its point slipped: %.2f mm', n.value_mm * n.factor)
    END AS proposal,
    'as_proposed' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    doubt_acts(d.settled_as, 'as_proposed') AS acts,
    n.factor,
    n.import_no,
    n.file,
    n.file_line,
    n.copy_no,
    n.reading_kind,
    n.moment
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine, n.place, n.position, n.moment, n.id
