-- How far an animal is on its way back, and its quarantine.
ALTER TABLE cases ADD COLUMN return_state TEXT NOT NULL DEFAULT '{}';
