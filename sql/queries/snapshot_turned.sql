-- What became of worn first sides of pieces that can be turned, by line: turned, or taken out and a
-- spare used. planned says that they were changed before they were worn. Broken ones can't be
-- turned.
SELECT
    s.part_type,
    s.line,
    coalesce(s.end_reason IN ('planned', 'opportunistic'), FALSE) AS planned,
    count(*) FILTER (s.ended_by = 'turned') AS turned,
    count(*) AS ended
FROM spells AS s
INNER JOIN limits AS l ON s.part_type = l.part_type
WHERE
    l.sides = 2
    AND NOT s.is_set
    AND NOT regexp_matches(s.piece, ' side [0-9]+$')
    AND s.ended_by IN ('turned', 'replaced', 'removed')
    AND coalesce(s.end_reason, 'unknown') IN ('worn', 'planned', 'opportunistic', 'unknown')
GROUP BY ALL
ORDER BY s.part_type, s.line, planned
