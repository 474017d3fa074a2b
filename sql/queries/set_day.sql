-- The day up to which the log views see.
-- $day: nothing that became known later is seen.
SET VARIABLE day = $day::DATE
