-- Who changed what, and when.

-- +goose Up
-- One row for each revision but the first. A replica that holds revision n and sees only
-- stock changes after it applies those rows of stock; anything else makes it load anew.
CREATE TABLE revisions (
  revision bigint PRIMARY KEY,
  at timestamptz NOT NULL DEFAULT now(),
  actor text NOT NULL,
  what text NOT NULL CHECK (what IN ('stock', 'catalogue')),
  summary text NOT NULL
);

-- before is NULL for a creation, after for a deletion.
CREATE TABLE audit (
  id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  at timestamptz NOT NULL DEFAULT now(),
  actor text NOT NULL,
  revision bigint NOT NULL REFERENCES revisions,
  kind text NOT NULL,
  key text COLLATE "C" NOT NULL,
  before jsonb,
  after jsonb,
  CHECK (before IS NOT NULL OR after IS NOT NULL)
);
CREATE INDEX audit_kind_key ON audit (kind, key, id DESC);

-- +goose Down
DROP TABLE audit, revisions;
