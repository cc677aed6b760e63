-- When an account is to be erased.
ALTER TABLE breeders ADD COLUMN erase_at INTEGER;
CREATE INDEX breeders_to_erase ON breeders (erase_at) WHERE erase_at IS NOT NULL;
