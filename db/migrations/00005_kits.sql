-- Saved kits.

-- +goose Up
-- Question and answer are json, not jsonb: what was saved is given back byte for byte.
-- Nothing refers to the catalogue, which goes on changing.
CREATE TABLE kits (
  code text COLLATE "C" PRIMARY KEY CHECK (code ~ '^[2-9A-Z]{5}-[2-9A-Z]{5}$'),
  saved_at timestamptz NOT NULL,
  changed_at timestamptz NOT NULL,
  actor text NOT NULL, -- id of the key
  saved_by text NOT NULL, -- its name
  status text NOT NULL CHECK (status IN ('open', 'picking', 'done')),
  vehicle_id text COLLATE "C",
  vehicle text NOT NULL, -- year, make and model, or the engine
  carburetor_sku text COLLATE "C" NOT NULL,
  verdict text NOT NULL,
  total_minor bigint NOT NULL,
  currency text NOT NULL CHECK (currency ~ '^[A-Z]{3}$'),
  catalogue_revision bigint NOT NULL,
  history json NOT NULL, -- what was done, in order; marks follow from it
  request json NOT NULL,
  kit json NOT NULL,
  idempotency_key text,
  request_sha256 bytea NOT NULL,
  UNIQUE (actor, idempotency_key)
);
CREATE INDEX kits_saved_at ON kits (saved_at DESC, code DESC);
CREATE INDEX kits_status ON kits (status, saved_at DESC, code DESC);
CREATE INDEX kits_vehicle_id ON kits (vehicle_id, saved_at DESC, code DESC) WHERE vehicle_id IS NOT NULL;

-- +goose Down
DROP TABLE kits;
