-- Changes of rules that wait to be published together. What rules were at any revision is
-- in audit, kind 'rule'.

-- +goose Up
CREATE TABLE rule_drafts (
  id text COLLATE "C" PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]*$'),
  source text, -- NULL: the rule is to be deleted
  actor text NOT NULL,
  at timestamptz NOT NULL DEFAULT now()
);

-- +goose Down
DROP TABLE rule_drafts;
