-- What a breeder set of the levels, and what a case was last assessed by; {}: the program's own.
ALTER TABLE breeders ADD COLUMN thresholds TEXT NOT NULL DEFAULT '{}';
ALTER TABLE cases ADD COLUMN thresholds TEXT NOT NULL DEFAULT '{}';
