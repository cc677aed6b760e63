-- Whose rows a transaction may touch is said in warmhand.breeder, see
-- care.Reach: one breeder's, everyone's with '*', else nobody's. It holds for the
-- owner of the tables, too, which the program is; not for superusers. A table
-- that comes later and has a breeder_id gets the same three lines. What is a
-- keeper's, in secrets, has no breeder.
DO $$
DECLARE t text;
        reach constant text := '(SELECT current_setting(''warmhand.breeder'', true))';
BEGIN
    FOR t IN SELECT table_name FROM information_schema.columns WHERE table_schema = current_schema() AND column_name = 'breeder_id' LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
        EXECUTE format('CREATE POLICY reach ON %I USING (breeder_id = %s OR %s = ''*''%s)', t, reach, reach,
            CASE WHEN t = 'secrets' THEN ' OR breeder_id = ''''' ELSE '' END);
    END LOOP;
END $$;
