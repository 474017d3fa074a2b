-- Log: meters; a 'replaced' row has the old meter's last figure and the new one's first.
CREATE TABLE log_clocks (
    import_no BIGINT NOT NULL,
    file VARCHAR NOT NULL,
    file_line BIGINT NOT NULL,
    copy_no INTEGER NOT NULL,
    known_at TIMESTAMP NOT NULL,
    plant VARCHAR,
    note VARCHAR,
    extra VARCHAR,
    machine VARCHAR NOT NULL,
    taken_at TIMESTAMP NOT NULL,
    whole_day BOOLEAN NOT NULL,
    shows DECIMAL(16, 3) NOT NULL,
    clock VARCHAR,
    meter VARCHAR,
    event VARCHAR,
    start_shows DECIMAL(16, 3)
)
