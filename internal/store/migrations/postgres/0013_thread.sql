-- The twin of sqlite/0013_thread.sql: same tables, same columns, same order.
-- How far a breeder's messages have come to the keeper, and what the breeder writes
-- often.
ALTER TABLE cases ADD COLUMN got_at BIGINT;
ALTER TABLE cases ADD COLUMN read_at BIGINT;
ALTER TABLE breeders ADD COLUMN phrases TEXT COLLATE "C" NOT NULL DEFAULT 'null';
