-- A GTIN is one article's, whether written with 12, 13 or 14 digits. Of what is wrong in a
-- file the first things are kept, and how many there were.

-- +goose Up

-- +goose StatementBegin
DO $$
DECLARE
  shared text;
BEGIN
  SELECT format('%s: %s', min(gtin), string_agg(sku, ', ' ORDER BY sku)) INTO shared
    FROM offers WHERE gtin IS NOT NULL GROUP BY lpad(gtin, 14, '0') HAVING count(*) > 1 ORDER BY 1 LIMIT 1;
  IF shared IS NOT NULL THEN
    RAISE EXCEPTION 'several articles have the GTIN %; correct it with PUT or UPDATE offers SET gtin = NULL until one has it, then migrate again', shared;
  END IF;
END $$;
-- +goose StatementEnd

-- Checked after each statement and not each row, so that an import can exchange two.
ALTER TABLE offers ADD CONSTRAINT offers_gtin EXCLUDE USING btree (lpad(gtin, 14, '0') WITH =) DEFERRABLE;

ALTER TABLE imports ADD COLUMN problems bigint NOT NULL DEFAULT 0;
UPDATE imports i SET problems = (SELECT count(*) FROM import_problems p WHERE p.import_id = i.id);

-- The revision after an import, whoever made it; the first, of the loaded catalogue, has no row.
ALTER TABLE imports DROP CONSTRAINT imports_revision_fkey;
UPDATE imports i SET revision = coalesce((SELECT max(r.revision) FROM revisions r WHERE r.at <= i.at), 1) WHERE revision IS NULL;

-- What was refused does not use up its key, so that the file can be mended and sent again.
UPDATE imports SET idempotency_key = NULL WHERE state = 'rejected';

-- +goose Down
ALTER TABLE imports DROP COLUMN problems;
UPDATE imports SET revision = NULL WHERE revision NOT IN (SELECT revision FROM revisions);
ALTER TABLE imports ADD CONSTRAINT imports_revision_fkey FOREIGN KEY (revision) REFERENCES revisions;
ALTER TABLE offers DROP CONSTRAINT offers_gtin;
