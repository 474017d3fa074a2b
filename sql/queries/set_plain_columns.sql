-- The columns of the plain text file at hand, in their order.
-- $columns: with their types.
SET VARIABLE plain_columns = $columns
