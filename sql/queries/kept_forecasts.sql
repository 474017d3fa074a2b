-- The forecasts kept, oldest first, each with all that takes it again.
SELECT f.*
FROM forecasts AS f
ORDER BY f.forecast_no
