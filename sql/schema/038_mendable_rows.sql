-- The row in the contract's own words, what could be read put as the contract writes it: to mend.
ALTER TABLE set_aside ADD COLUMN mendable VARCHAR
