-- placeholder
CREATE OR REPLACE TEMP VIEW rows_used AS SELECT * FROM rows_sized
