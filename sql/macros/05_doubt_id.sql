-- The id of a doubt: 8 hex digits over its rule, its place and its dates.
CREATE OR REPLACE TEMP MACRO doubt_id(doubt_rule, doubt_place, doubt_dates) AS
left(md5(concat_ws('|', doubt_rule, doubt_place, doubt_dates)), 8)
