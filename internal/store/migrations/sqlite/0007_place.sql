-- Where an animal is kept, in the breeder's words.
ALTER TABLE animals ADD COLUMN place TEXT NOT NULL DEFAULT '';
