-- How far a breeder's messages have come to the keeper, and what the breeder writes
-- often.
ALTER TABLE cases ADD COLUMN got_at INTEGER;
ALTER TABLE cases ADD COLUMN read_at INTEGER;
ALTER TABLE breeders ADD COLUMN phrases TEXT NOT NULL DEFAULT 'null';
