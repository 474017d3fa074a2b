-- How the file at hand writes numbers and dates.
-- $decimal_mark, $dates, $time_zone: as in its mapping, '' where it says nothing.
-- $today: the day of the import.
SET VARIABLE habits = {
    'decimal_mark': $decimal_mark::VARCHAR,
    'dates': $dates::VARCHAR,
    'time_zone': $time_zone::VARCHAR,
    'today': $today::DATE
}
