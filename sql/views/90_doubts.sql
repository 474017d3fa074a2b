-- Every doubt about accepted rows, one row each, from all the rules of checks/.
CREATE OR REPLACE TEMP TABLE doubts AS
WITH found AS (
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM unit_slip AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM doubled_sheet AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM amended_row AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_backwards AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_over_24_h AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_rollover AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_reset AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM no_hours AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM clock_disagrees AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM reading_after_removal AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM swapped_positions AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        c.moment_from AS not_before,
        c.moment_until AS not_after
    FROM flipped_strip AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        c.moment_from AS not_before,
        c.moment_until AS not_after
    FROM unlogged_change_out AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM two_parts AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM one_piece_in_two_places AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM not_in_fleet AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM machine_in_two_plants AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM no_piece_in_place AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM value_against_result AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM impossible_rate AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM rate_jump AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM silent_machine AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM stock_used AS c
    UNION ALL
    SELECT
        c.id,
        c.rule,
        c.machine,
        c.place,
        c.position,
        c.part_type,
        c.taken_at,
        c.what,
        c.proposal,
        c.by_default,
        c.state,
        c.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM worst_first AS c
)

SELECT DISTINCT
    f.* REPLACE (
        coalesce(f.machine, '') AS machine,
        coalesce(f.position, '') AS position,
        coalesce(f.part_type, '') AS part_type,
        coalesce(f.note, '') AS note
    )
FROM found AS f
ORDER BY f.rule, f.taken_at, f.machine, f.place, f.position, f.id, f.what
