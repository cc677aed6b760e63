-- What servers on one database have in common beside the domain, such as
-- certificates. It is sealed under the server's key, which is not in the database.
CREATE TABLE kept (
    name TEXT NOT NULL CHECK (name <> ''),
    sealed BLOB,
    kept_at INTEGER NOT NULL,
    PRIMARY KEY (name)
) STRICT, WITHOUT ROWID;
