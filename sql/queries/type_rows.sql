-- Keeps the rows at hand as they are cast.
CREATE OR REPLACE TEMP TABLE typed AS
SELECT t.*
FROM typed_rows AS t
