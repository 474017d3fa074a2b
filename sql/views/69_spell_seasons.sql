-- Hours of a piece in each season and phase (cell), spell by spell and segment by segment:
-- base_hours were run in the cell before this spell (or before the watch, as far as that is known,
-- counted to its first cell) and stand once a cell; above them it runs from low to high of the
-- meter.
CREATE OR REPLACE TEMP TABLE spell_seasons AS
WITH in_spell AS (
    SELECT
        s.spell_no,
        s.piece,
        s.start_moment,
        s.stay_no,
        m.season_no,
        m.season,
        m.cell_no,
        m.cell,
        m.segment_no,
        s.meter_start,
        s.clock_per_hour,
        greatest(m.low, s.meter_start::DOUBLE) AS low,
        m.high,
        greatest(
            least(m.high, s.meter_stop::DOUBLE) - greatest(m.low, s.meter_start::DOUBLE), 0
        )::DECIMAL(12, 2) * s.clock_per_hour AS hours
    FROM spells AS s
    INNER JOIN season_meter AS m ON s.machine = m.machine AND s.meter_clock = m.clock
    WHERE s.clock_per_hour IS NOT NULL
),

before_watch AS (
    SELECT
        i.piece,
        arg_min(i.cell_no, (i.stay_no, i.segment_no)) AS cell_no
    FROM in_spell AS i
    WHERE i.high > i.meter_start::DOUBLE
    GROUP BY i.piece
),

with_base AS (
    SELECT
        i.*,
        CASE
            WHEN
                row_number() OVER (
                    PARTITION BY i.spell_no, i.cell_no ORDER BY i.segment_no
                ) = 1
                THEN coalesce(sum(i.hours) OVER (
                    PARTITION BY i.piece, i.cell_no ORDER BY i.stay_no
                    RANGE BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
                ), 0)
                + CASE WHEN w.cell_no IS NOT NULL THEN coalesce(s.first_age, 0) ELSE 0 END
            ELSE 0
        END AS base_hours
    FROM in_spell AS i
    INNER JOIN spells AS s ON i.spell_no = s.spell_no
    LEFT JOIN before_watch AS w ON i.piece = w.piece AND i.cell_no = w.cell_no
)

SELECT
    b.spell_no,
    b.piece,
    b.stay_no,
    b.season_no,
    b.season,
    b.cell_no,
    b.cell,
    b.segment_no,
    b.low,
    b.high,
    b.clock_per_hour::DOUBLE AS clock_per_hour,
    b.base_hours::DECIMAL(14, 2) AS base_hours,
    b.hours::DECIMAL(14, 2) AS hours
FROM with_base AS b
WHERE b.base_hours > 0 OR b.hours > 0
ORDER BY b.spell_no, b.segment_no
