-- The rows to compare and add are cast as they are read.
CREATE OR REPLACE TEMP VIEW ready AS
SELECT t.*
FROM typed_rows AS t
