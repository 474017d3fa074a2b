-- Lets this session see what is decided as if one doubt were settled otherwise: a view stands
-- before the table, which is left as it is.
CREATE OR REPLACE TEMP VIEW decisions AS
SELECT d.*
FROM store.decisions AS d
WHERE d.about <> 'doubt' OR d.subject <> getvariable('supposed').subject
UNION ALL BY NAME
SELECT
    0 AS decision_no,
    DATE '0001-01-01' AS decided_on,
    'doubt' AS about,
    getvariable('supposed').subject AS subject,
    getvariable('supposed').settled_as AS settled_as
