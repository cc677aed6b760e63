-- Lists that breeders bring in. What one made is found by import_animals and by
-- the ids of its entries, which begin with the import's.
CREATE TABLE imports (
    breeder_id   TEXT    NOT NULL REFERENCES breeders,
    import_id    TEXT    NOT NULL CHECK (import_id <> ''),
    file         TEXT    NOT NULL,
    digest       TEXT    NOT NULL,
    bytes        INTEGER NOT NULL,
    state        TEXT    NOT NULL,
    reading      TEXT,
    by_kind      TEXT    NOT NULL,
    by_id        TEXT    NOT NULL,
    created_at   INTEGER NOT NULL,
    confirmed_at INTEGER,
    ended_at     INTEGER,
    animals      INTEGER NOT NULL,
    entries      INTEGER NOT NULL,
    done         INTEGER NOT NULL,
    total        INTEGER NOT NULL,
    trouble      TEXT    NOT NULL,
    kept         TEXT    NOT NULL,
    version      INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, import_id)
) STRICT;
CREATE INDEX imports_newest ON imports (breeder_id, created_at DESC, import_id DESC);
-- The server goes on with them after a restart, whose they are.
CREATE INDEX imports_pending ON imports (created_at) WHERE state IN ('running', 'undoing');
CREATE INDEX imports_drafts ON imports (created_at) WHERE state = 'draft';

CREATE TABLE import_animals (
    breeder_id TEXT    NOT NULL,
    import_id  TEXT    NOT NULL,
    animal_id  TEXT    NOT NULL,
    made       INTEGER NOT NULL CHECK (made IN (0, 1)),
    PRIMARY KEY (breeder_id, import_id, animal_id),
    FOREIGN KEY (breeder_id, import_id) REFERENCES imports,
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
) STRICT, WITHOUT ROWID;
