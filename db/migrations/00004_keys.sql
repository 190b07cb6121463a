-- Keys to the service.

-- +goose Up
CREATE TABLE api_keys (
  id text COLLATE "C" PRIMARY KEY, -- the part of a key that may be shown
  hash bytea NOT NULL UNIQUE CHECK (length(hash) = 32), -- HMAC-SHA-256 of the secret part under the pepper
  name label NOT NULL,
  scopes text[] NOT NULL CHECK (cardinality(scopes) > 0 AND scopes <@ ARRAY['read', 'kits', 'stock', 'catalogue', 'admin']),
  created_at timestamptz NOT NULL DEFAULT now(),
  rotated_at timestamptz,
  revoked_at timestamptz,
  last_used_at timestamptz
);

-- +goose Down
DROP TABLE api_keys;
