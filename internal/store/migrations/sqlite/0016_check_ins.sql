-- When a breeder wants keepers to be asked; {}: the program's own plan.
ALTER TABLE breeders ADD COLUMN check_ins TEXT NOT NULL DEFAULT '{}';
