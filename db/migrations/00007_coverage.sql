-- Coverage reports. Their jobs are River's (github.com/riverqueue/river), which keeps its
-- own tables in the schema river and its own migrations; migrate runs both.

-- +goose Up
CREATE SCHEMA river;

CREATE TABLE coverage_reports (
  id text COLLATE "C" PRIMARY KEY,
  question_key text COLLATE "C" NOT NULL, -- same for the same question at the same revision
  created_at timestamptz NOT NULL DEFAULT now(),
  finished_at timestamptz,
  status text NOT NULL DEFAULT 'running' CHECK (status IN ('running', 'done', 'cancelled', 'failed')),
  failure text NOT NULL DEFAULT '',
  scope jsonb NOT NULL, -- the question made definite
  kits bigint NOT NULL,
  chunks integer NOT NULL,
  round integer NOT NULL DEFAULT 1,
  chunks_done integer NOT NULL DEFAULT 0, -- of the round
  state jsonb NOT NULL DEFAULT '{}', -- what is known between rounds
  answer jsonb
);
CREATE UNIQUE INDEX coverage_reports_question ON coverage_reports (question_key) WHERE status IN ('running', 'done');
CREATE INDEX coverage_reports_created ON coverage_reports (created_at);

-- The pieces of a report at work; a finished one has none.
CREATE TABLE coverage_chunks (
  report_id text COLLATE "C" NOT NULL REFERENCES coverage_reports ON DELETE CASCADE,
  chunk integer NOT NULL,
  vehicles text[] NOT NULL,
  round integer NOT NULL DEFAULT 0, -- the last that is done
  result jsonb, -- of that round
  PRIMARY KEY (report_id, chunk)
);

-- +goose Down
DROP TABLE coverage_chunks, coverage_reports;
DROP SCHEMA river CASCADE;
