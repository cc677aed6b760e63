-- Bytes that a deleted photo named, until they were looked after. By hash alone:
-- the same picture may be of several cases, and is kept once.
CREATE TABLE discarded (
    hash TEXT NOT NULL CHECK (hash <> ''),
    PRIMARY KEY (hash)
) STRICT, WITHOUT ROWID;
-- Whether bytes are still named is asked by their hash.
CREATE INDEX photos_by_hash ON photos (hash);
