-- Whether a doubt's proposal is followed: as settled, else by its rule's default.
CREATE OR REPLACE TEMP MACRO doubt_acts(settled_as, by_default) AS
coalesce(nullif(settled_as, 'open'), by_default) = 'as_proposed'
