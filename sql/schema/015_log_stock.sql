-- Log: stock counted, ordered, cancelled.
CREATE TABLE log_stock (
    import_no BIGINT NOT NULL,
    file VARCHAR NOT NULL,
    file_line BIGINT NOT NULL,
    copy_no INTEGER NOT NULL,
    known_at TIMESTAMP NOT NULL,
    plant VARCHAR,
    note VARCHAR,
    extra VARCHAR,
    part_type VARCHAR NOT NULL,
    taken_at TIMESTAMP NOT NULL,
    whole_day BOOLEAN NOT NULL,
    stock_state VARCHAR NOT NULL,
    quantity INTEGER NOT NULL,
    due DATE,
    order_no VARCHAR,
    stock_condition VARCHAR
)
