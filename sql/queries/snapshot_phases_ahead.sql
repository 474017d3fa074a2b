-- Machine days that `running` plans in each phase after the last known day.
SELECT
    p.phase,
    count(*)::DOUBLE AS days
FROM phase_days AS p
CROSS JOIN until_day AS u
WHERE p.run_date > u.last_day
GROUP BY p.phase
ORDER BY p.phase
