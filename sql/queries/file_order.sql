-- Rows are kept in the order in which they are read.
SET preserve_insertion_order = TRUE
