-- First and last day of the meter: earlier moments read its first row, later ones its last.
CREATE OR REPLACE TEMP TABLE meter_days AS
SELECT
    min(m.run_date) AS first_day,
    max(m.run_date) AS final_day
FROM meter AS m
