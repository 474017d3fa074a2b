-- Notes what a person decided, under the next number.
-- $decided_on: the day; $about, $subject: on what (a doubt and its id, an import and its number).
-- $settled_as, $settled_at, $note: the decision; $what: what it was decided on, in words.
INSERT INTO decisions (
    decision_no, decided_on, about, subject, settled_as, settled_at, note, what
)
VALUES (
    coalesce((SELECT max(d.decision_no) FROM decisions AS d), 0) + 1, $decided_on, $about,
    $subject, $settled_as, $settled_at, $note, $what
)
