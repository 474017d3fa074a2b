-- Puts the staged cells into our words, as the mapping says.
CREATE OR REPLACE TEMP TABLE staged AS
SELECT cell_mapped(alias(COLUMNS('(.*)')), COLUMNS('(.*)')) AS '\1' -- noqa: RF05
FROM staged
