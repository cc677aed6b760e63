-- The twin of sqlite/0009_signed.sql: same tables, same columns, same order.
-- Records signed by their breeders' keys. A private key is here only as it was
-- sealed under the server's key, which is not in the database.
CREATE TABLE signing_keys (
    breeder_id TEXT COLLATE "C" NOT NULL REFERENCES breeders,
    key_id TEXT COLLATE "C" NOT NULL CHECK (key_id <> ''),
    public TEXT COLLATE "C",
    sealed BYTEA,
    created_at BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, key_id)
);
ALTER TABLE handovers ADD COLUMN signed TEXT COLLATE "C" NOT NULL DEFAULT '';
