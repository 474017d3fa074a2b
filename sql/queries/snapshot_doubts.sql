-- Every doubt, with the columns that a person sees.
SELECT
    d.id,
    d.rule,
    d.machine,
    d.position,
    d.part_type,
    d.taken_at AS at,
    d.what,
    d.proposal,
    d.by_default AS "default",
    d.state,
    d.note
FROM doubts AS d
ORDER BY d.rule, d.taken_at, d.machine, d.position, d.id, d.what
