-- Wear in mm from what was read: depths as they are, sizes against the size when fitted, else
-- the nominal size. The same formula stands in forecast/physics/sizes.py.
CREATE OR REPLACE TEMP MACRO wear_from_reading(reading_kind, value_mm, fitted_mm, nominal_mm) AS
CASE
    WHEN reading_kind = 'wear_depth' THEN value_mm
    WHEN reading_kind IN ('remaining', 'diameter')
        THEN coalesce(fitted_mm, nominal_mm) - value_mm
    WHEN reading_kind IN ('bore', 'clearance', 'pitch')
        THEN value_mm - coalesce(fitted_mm, nominal_mm)
END
