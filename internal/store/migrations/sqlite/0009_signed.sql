-- Records signed by their breeders' keys. A private key is here only as it was
-- sealed under the server's key, which is not in the database.
CREATE TABLE signing_keys (
    breeder_id TEXT NOT NULL REFERENCES breeders,
    key_id TEXT NOT NULL CHECK (key_id <> ''),
    public TEXT,
    sealed BLOB,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, key_id)
) STRICT, WITHOUT ROWID;
ALTER TABLE handovers ADD COLUMN signed TEXT NOT NULL DEFAULT '';
