-- Log: running hours a day, run or to be run, of a machine, a line or all ('*').
CREATE TABLE log_running (
    import_no BIGINT NOT NULL,
    file VARCHAR NOT NULL,
    file_line BIGINT NOT NULL,
    copy_no INTEGER NOT NULL,
    known_at TIMESTAMP NOT NULL,
    plant VARCHAR,
    note VARCHAR,
    extra VARCHAR,
    run_date DATE NOT NULL,
    running_hours DECIMAL(8, 3) NOT NULL,
    machine VARCHAR,
    plant_line VARCHAR,
    phase VARCHAR
)
