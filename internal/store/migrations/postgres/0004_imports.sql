-- The twin of sqlite/0004_imports.sql: same tables, same columns, same order.
-- Lists that breeders bring in. What one made is found by import_animals and by
-- the ids of its entries, which begin with the import's.
CREATE TABLE imports (
    breeder_id   TEXT COLLATE "C" NOT NULL REFERENCES breeders,
    import_id    TEXT COLLATE "C" NOT NULL CHECK (import_id <> ''),
    file         TEXT COLLATE "C" NOT NULL,
    digest       TEXT COLLATE "C" NOT NULL,
    bytes        BIGINT NOT NULL,
    state        TEXT COLLATE "C" NOT NULL,
    reading      TEXT COLLATE "C",
    by_kind      TEXT COLLATE "C" NOT NULL,
    by_id        TEXT COLLATE "C" NOT NULL,
    created_at   BIGINT NOT NULL,
    confirmed_at BIGINT,
    ended_at     BIGINT,
    animals      BIGINT NOT NULL,
    entries      BIGINT NOT NULL,
    done         BIGINT NOT NULL,
    total        BIGINT NOT NULL,
    trouble      TEXT COLLATE "C" NOT NULL,
    kept         TEXT COLLATE "C" NOT NULL,
    version      BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, import_id)
);
CREATE INDEX imports_newest ON imports (breeder_id, created_at DESC, import_id DESC);
-- The server goes on with them after a restart, whose they are.
CREATE INDEX imports_pending ON imports (created_at) WHERE state IN ('running', 'undoing');
CREATE INDEX imports_drafts ON imports (created_at) WHERE state = 'draft';

CREATE TABLE import_animals (
    breeder_id TEXT COLLATE "C" NOT NULL,
    import_id  TEXT COLLATE "C" NOT NULL,
    animal_id  TEXT COLLATE "C" NOT NULL,
    made       BIGINT NOT NULL CHECK (made IN (0, 1)),
    PRIMARY KEY (breeder_id, import_id, animal_id),
    FOREIGN KEY (breeder_id, import_id) REFERENCES imports,
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
);
