-- The twin of sqlite/0024_kept.sql: same tables, same columns, same order.
-- What servers on one database have in common beside the domain, such as
-- certificates. It is sealed under the server's key, which is not in the database.
CREATE TABLE kept (
    name TEXT COLLATE "C" NOT NULL CHECK (name <> ''),
    sealed BYTEA,
    kept_at BIGINT NOT NULL,
    PRIMARY KEY (name)
);
