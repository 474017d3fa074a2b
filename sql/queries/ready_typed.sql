-- The rows to compare and add are those that were kept cast.
CREATE OR REPLACE TEMP VIEW ready AS
SELECT t.*
FROM typed AS t
