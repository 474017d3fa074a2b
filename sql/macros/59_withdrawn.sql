-- The imports that are withdrawn, by the last decision on each.
CREATE OR REPLACE TEMP MACRO withdrawn() AS TABLE
    SELECT d.subject::BIGINT AS import_no
    FROM decisions AS d
    WHERE d.about = 'import'
    GROUP BY d.subject
    HAVING max_by(d.settled_as, d.decision_no) = 'withdrawn'
