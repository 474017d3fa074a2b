-- What is decided about each subject: the last decision taken by the day.
CREATE OR REPLACE TEMP VIEW decided AS
SELECT
    d.about,
    d.subject,
    d.settled_as,
    d.settled_at,
    d.note
FROM decisions AS d
WHERE
    d.decision_no <= getvariable('upto').last_decision
    AND d.decided_on <= getvariable('day')
QUALIFY row_number() OVER (PARTITION BY d.about, d.subject ORDER BY d.decision_no DESC) = 1
