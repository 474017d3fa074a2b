-- Steps of the schema that this store has had; an edited old step is refused.
CREATE TABLE schema_step (
    number INTEGER NOT NULL,
    name VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL
)
