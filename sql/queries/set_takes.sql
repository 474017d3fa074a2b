-- What each column takes, and the units of length.
-- $columns, $least, $most, $words: side by side.
-- $spellings, $meant: each spelling and the unit it means. $units, $factors: mm in one of each.
SET VARIABLE takes = {
    'least': map($columns::VARCHAR[], $least::DECIMAL(18, 6)[]),
    'most': map($columns::VARCHAR[], $most::DECIMAL(18, 6)[]),
    'words': map($columns::VARCHAR[], $words::VARCHAR[][]),
    'unit_names': map($spellings::VARCHAR[], $meant::VARCHAR[]),
    'unit_factors': map($units::VARCHAR[], $factors::DECIMAL(9, 4)[])
}
