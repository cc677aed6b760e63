-- The twin of postgres/0017_reach.sql: SQLite has no security by rows, and one
-- program at a time that opens the file.
SELECT 1;
