CREATE INDEX secrets_of_keeper ON secrets (keeper_id, kind);
