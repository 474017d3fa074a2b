-- What the mapping of the file at hand says of its cells.
-- $cells, $words: our word for a cell; the key is column, unit separator, cell.
-- $prefix_columns, $prefixes: what is put before each cell of a column.
-- $constant_columns, $constants: what a column holds where the file is blank.
-- $length_columns, $factors: how many mm one of the column's unit is.
SET VARIABLE mapped = {
    'words': map($cells::VARCHAR[], $words::VARCHAR[]),
    'prefix': map($prefix_columns::VARCHAR[], $prefixes::VARCHAR[]),
    'constant': map($constant_columns::VARCHAR[], $constants::VARCHAR[]),
    'factors': map($length_columns::VARCHAR[], $factors::DECIMAL(9, 4)[])
}
