-- The rows of a kept forecast's results and exhibits, in their order.
-- $number: of the forecast.
SELECT
    r.name,
    r.row_no,
    r.content
FROM results AS r
WHERE r.forecast_no = $number
ORDER BY r.name, r.row_no
