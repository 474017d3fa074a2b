-- One row that every commit updates first, so that of two writers one must try again.
CREATE TABLE gate (seq BIGINT NOT NULL)
