-- A wet part's size when dry, from its linear growth in percent.
-- The same formula stands in forecast/physics/sizes.py.
CREATE OR REPLACE TEMP MACRO dry_size(size_mm, swelling_percent) AS
size_mm / (1 + swelling_percent / 100)
