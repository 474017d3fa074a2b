-- The number under which the next scores are kept.
SELECT coalesce(max(s.score_no), 0) + 1 AS score_no
FROM scores AS s
