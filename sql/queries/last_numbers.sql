-- The last import and decision in the store; 0 where there is none.
SELECT
    coalesce((SELECT max(i.import_no) FROM imports AS i), 0) AS last_import,
    coalesce((SELECT max(d.decision_no) FROM decisions AS d), 0) AS last_decision
