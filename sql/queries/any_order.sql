-- Rows may be added in any order: each carries its line, and parts of a file are read side by side.
SET preserve_insertion_order = FALSE
