-- Whether a cell that holds something could not be read.
CREATE OR REPLACE TEMP MACRO refused(cell, read_as) AS
cell IS NOT NULL AND read_as IS NULL
