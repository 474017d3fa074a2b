-- The doubts whose ids begin so.
-- $beginning: of the id.
SELECT DISTINCT
    d.id,
    d.rule,
    d.taken_at,
    d.what,
    d.not_before,
    d.not_after
FROM doubts AS d
WHERE starts_with(d.id, $beginning)
ORDER BY d.id, d.what
