-- The twin of sqlite/0010_erase.sql: same tables, same columns, same order.
-- When an account is to be erased.
ALTER TABLE breeders ADD COLUMN erase_at BIGINT;
CREATE INDEX breeders_to_erase ON breeders (erase_at) WHERE erase_at IS NOT NULL;
