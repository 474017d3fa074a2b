-- Rows refused for what they show by themselves, with the raw text of the whole row.
CREATE TABLE set_aside (
    set_aside_id BIGINT NOT NULL,
    import_no BIGINT NOT NULL,
    file VARCHAR NOT NULL,
    file_line BIGINT NOT NULL,
    column_name VARCHAR NOT NULL,
    raw_value VARCHAR,
    rule VARCHAR NOT NULL,
    hint VARCHAR NOT NULL,
    raw_row VARCHAR NOT NULL,
    closed_by BIGINT
)
