-- The twin of sqlite/0005_discarded.sql: same tables, same columns, same order.
-- Bytes that a deleted photo named, until they were looked after. By hash alone:
-- the same picture may be of several cases, and is kept once.
CREATE TABLE discarded (
    hash TEXT COLLATE "C" NOT NULL CHECK (hash <> ''),
    PRIMARY KEY (hash)
);
-- Whether bytes are still named is asked by their hash.
CREATE INDEX photos_by_hash ON photos (hash);
