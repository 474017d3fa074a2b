-- Notes what a person decided, under the next number.
-- $decided_on: the day; $about, $subject: on what (a doubt and its id, an import and its number).
-- $settled_as, $settled_at, $note: the decision; $what: what it was decided on, in words.
INSERT INTO decisions
SELECT
    coalesce((SELECT max(d.decision_no) FROM decisions AS d), 0) + 1 AS decision_no,
    $decided_on AS decided_on,
    $about AS about,
    $subject AS subject,
    $settled_as AS settled_as,
    $settled_at AS settled_at,
    $note AS note,
    $what AS what
