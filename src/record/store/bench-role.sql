-- What a bench may do: add and read. It may never change, delete or empty anything. Give it to a bench's own login with
-- GRANT railproof_bench TO "bench-3".
DO $$ BEGIN
    CREATE ROLE railproof_bench NOLOGIN;
EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL;
END $$;
REVOKE ALL ON SCHEMA railproof FROM PUBLIC;
REVOKE ALL ON ALL TABLES IN SCHEMA railproof FROM PUBLIC, railproof_bench;
GRANT USAGE ON SCHEMA railproof TO railproof_bench;
GRANT SELECT, INSERT ON ALL TABLES IN SCHEMA railproof TO railproof_bench;
REVOKE INSERT ON version FROM railproof_bench;
