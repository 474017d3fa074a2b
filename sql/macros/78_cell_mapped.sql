-- A cell in our words: the mapping's word for it, its prefix before it, a constant where it is
-- blank. Keys of the words are column and cell with the unit separator between.
CREATE OR REPLACE TEMP MACRO cell_mapped(column_name, cell) AS
coalesce(
    coalesce(getvariable('mapped').prefix[column_name], '')
    || coalesce(getvariable('mapped').words[column_name || chr(31) || cell], cell),
    getvariable('mapped').constant[column_name]
)
