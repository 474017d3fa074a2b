-- Machine days that `running` plans in each phase after the day asked for, or after the last known
-- day if none was.
SELECT
    p.phase,
    count(*)::DOUBLE AS days
FROM phase_days AS p
CROSS JOIN until_day AS u
WHERE
    p.run_date > u.last_day
    AND (getvariable('day') = DATE '9999-12-31' OR p.run_date > getvariable('day'))
GROUP BY p.phase
ORDER BY p.phase
