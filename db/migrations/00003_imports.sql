-- Bulk imports and their reports.

-- +goose Up
CREATE TABLE imports (
  id text COLLATE "C" PRIMARY KEY,
  at timestamptz NOT NULL DEFAULT now(),
  actor text NOT NULL,
  kind text NOT NULL CHECK (kind IN ('stock', 'prices', 'parts')),
  mode text NOT NULL CHECK (mode IN ('atomic', 'valid_rows')),
  dry_run boolean NOT NULL,
  idempotency_key text,
  body_sha256 bytea NOT NULL DEFAULT ''::bytea,
  state text NOT NULL DEFAULT 'running' CHECK (state IN ('running', 'applied', 'rejected', 'checked')),
  rows_read bigint NOT NULL DEFAULT 0,
  rows_bad bigint NOT NULL DEFAULT 0,
  rows_changed bigint NOT NULL DEFAULT 0,
  revision bigint REFERENCES revisions, -- made by it, NULL when nothing changed
  UNIQUE (actor, idempotency_key)
);
CREATE INDEX imports_at ON imports (at DESC);

-- Everything wrong with a file, however long the list.
CREATE TABLE import_problems (
  import_id text COLLATE "C" NOT NULL REFERENCES imports ON DELETE CASCADE,
  line integer NOT NULL,
  place bigint GENERATED ALWAYS AS IDENTITY,
  field text NOT NULL, -- name of the column, '' when the row as a whole is meant
  value text NOT NULL, -- as found, clipped
  detail text NOT NULL,
  PRIMARY KEY (import_id, line, place)
);

-- +goose Down
DROP TABLE import_problems, imports;
