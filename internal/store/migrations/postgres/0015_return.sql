-- The twin of sqlite/0015_return.sql: same tables, same columns, same order.
-- How far an animal is on its way back, and its quarantine.
ALTER TABLE cases ADD COLUMN return_state TEXT COLLATE "C" NOT NULL DEFAULT '{}';
