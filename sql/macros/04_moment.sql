-- When something happened, in the order of one day: what has no time counts as noon; at one
-- moment as_found (0) < removed (2) < fitted (3) < as_left (5), told apart by seconds.
CREATE OR REPLACE TEMP MACRO moment(taken_at, whole_day, place_in_day) AS
CASE
    WHEN whole_day THEN taken_at::date::timestamp + INTERVAL 12 HOUR
    ELSE taken_at
END + to_seconds(place_in_day)
