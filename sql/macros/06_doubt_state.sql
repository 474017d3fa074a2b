-- The state of a doubt: what was settled, else open.
CREATE OR REPLACE TEMP MACRO doubt_state(settled_as) AS
coalesce(settled_as, 'open')
