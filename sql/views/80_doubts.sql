-- Every doubt about accepted rows, one row each, from all the rules of checks/.
CREATE OR REPLACE TEMP TABLE doubts AS
WITH found AS (
    SELECT
        u.id,
        u.rule,
        u.machine,
        u.place,
        u.position,
        u.part_type,
        u.taken_at,
        u.what,
        u.proposal,
        u.by_default,
        u.state,
        u.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM unit_slip AS u
    UNION ALL BY NAME
    SELECT
        d.id,
        d.rule,
        d.machine,
        d.place,
        d.position,
        d.part_type,
        d.taken_at,
        d.what,
        d.proposal,
        d.by_default,
        d.state,
        d.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM doubled_sheet AS d
    UNION ALL BY NAME
    SELECT
        a.id,
        a.rule,
        a.machine,
        a.place,
        a.position,
        a.part_type,
        a.taken_at,
        a.what,
        a.proposal,
        a.by_default,
        a.state,
        a.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM amended_row AS a
    UNION ALL BY NAME
    SELECT
        m.id,
        m.rule,
        m.machine,
        m.place,
        m.position,
        m.part_type,
        m.taken_at,
        m.what,
        m.proposal,
        m.by_default,
        m.state,
        m.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_backwards AS m
    UNION ALL BY NAME
    SELECT
        m.id,
        m.rule,
        m.machine,
        m.place,
        m.position,
        m.part_type,
        m.taken_at,
        m.what,
        m.proposal,
        m.by_default,
        m.state,
        m.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_over_24_h AS m
    UNION ALL BY NAME
    SELECT
        m.id,
        m.rule,
        m.machine,
        m.place,
        m.position,
        m.part_type,
        m.taken_at,
        m.what,
        m.proposal,
        m.by_default,
        m.state,
        m.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM meter_reset AS m
    UNION ALL BY NAME
    SELECT
        s.id,
        s.rule,
        s.machine,
        s.place,
        s.position,
        s.part_type,
        s.taken_at,
        s.what,
        s.proposal,
        s.by_default,
        s.state,
        s.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM swapped_positions AS s
    UNION ALL BY NAME
    SELECT
        u.id,
        u.rule,
        u.machine,
        u.place,
        u.position,
        u.part_type,
        u.taken_at,
        u.what,
        u.proposal,
        u.by_default,
        u.state,
        u.note,
        u.moment_from AS not_before,
        u.moment_until AS not_after
    FROM unlogged_change_out AS u
    UNION ALL BY NAME
    SELECT
        n.id,
        n.rule,
        n.machine,
        n.place,
        n.position,
        n.part_type,
        n.taken_at,
        n.what,
        n.proposal,
        n.by_default,
        n.state,
        n.note,
        NULL::TIMESTAMP AS not_before,
        NULL::TIMESTAMP AS not_after
    FROM not_in_fleet AS n
)

SELECT DISTINCT
    f.* REPLACE (
        coalesce(f.position, '') AS position,
        coalesce(f.part_type, '') AS part_type,
        coalesce(f.note, '') AS note
    )
FROM found AS f
ORDER BY f.rule, f.taken_at, f.machine, f.place, f.position, f.id, f.what
