-- Every doubt, with the columns that a person sees.
SELECT
    d.id,
    d.rule,
    d.machine,
    d.taken_at AS at,
    d.what,
    d.proposal,
    d.by_default AS "default",
    d.state,
    coalesce(d.position, '') AS position,
    coalesce(d.part_type, '') AS part_type,
    coalesce(d.note, '') AS note
FROM doubts AS d
ORDER BY d.rule, d.taken_at, d.machine, d.position, d.id, d.what
