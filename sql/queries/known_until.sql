-- The last day of which anything is known; no row if nothing is.
SELECT u.last_day
FROM until_day AS u
