package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"onetrip/internal/coverage"
)

const (
	riverSchema   = "river"
	coverageQueue = "coverage"
	// chunkAttempts is how often a chunk is tried before its report has failed. Workers
	// that are killed count too.
	chunkAttempts = 10
	// reportsKept is how long a report can be read.
	reportsKept = "30 days"
)

// Reports works coverage reports out with all replicas of one database. A report is cut
// into chunks, each a job of River. The result of a chunk is stored in the transaction
// that completes its job, so that every chunk counts once, whoever is killed; the last
// chunk of a round joins them and begins the next.
type Reports struct {
	pool   *pgxpool.Pool
	live   *Live
	client *river.Client[pgx.Tx]
	log    *slog.Logger
}

// chunkArgs is one chunk in one round.
type chunkArgs struct {
	Report string `json:"report"`
	Round  int    `json:"round"`
	Chunk  int    `json:"chunk"`
}

// Kind implements river.JobArgs.
func (chunkArgs) Kind() string { return "coverage_chunk" }

// InsertOpts implements river.JobArgsWithInsertOpts: a chunk of a round is one job.
func (chunkArgs) InsertOpts() river.InsertOpts {
	return river.InsertOpts{Queue: coverageQueue, MaxAttempts: chunkAttempts, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// NewReports begins to work with so many workers; with none it only takes questions. A
// chunk that takes longer than timeout, or whose worker is gone, is given to another.
// Close it before the pool and live.
func NewReports(ctx context.Context, pool *pgxpool.Pool, live *Live, workers int, timeout time.Duration, log *slog.Logger) (*Reports, error) {
	r := &Reports{pool: pool, live: live, log: log}
	if err := pool.QueryRow(ctx, "SELECT 1 FROM coverage_reports, river.river_job LIMIT 1").Scan(new(int)); err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return nil, pgError(err)
	}
	config := &river.Config{
		Schema: riverSchema, Workers: river.NewWorkers(), Logger: slog.New(warnings{log.Handler()}), JobTimeout: timeout, RescueStuckJobsAfter: timeout, RetryPolicy: soon{},
		FetchCooldown: 5 * time.Millisecond, // chunks are short
	}
	if err := river.AddWorkerSafely(config.Workers, &chunkWorker{reports: r}); err != nil {
		return nil, err
	}
	if workers > 0 {
		config.Queues = map[string]river.QueueConfig{coverageQueue: {MaxWorkers: workers}}
	}
	var err error
	if r.client, err = river.NewClient(riverpgxv5.New(pool), config); err != nil {
		return nil, err
	}
	if workers > 0 {
		err = r.client.Start(context.WithoutCancel(ctx))
	}
	return r, err
}

// Close stops working: chunks under way are cancelled, and done by another or later.
func (r *Reports) Close(ctx context.Context) {
	if err := r.client.StopAndCancel(ctx); err != nil {
		r.log.Warn("the workers of coverage reports did not stop; what they were at is done again", "error", err)
	}
}

// warnings are what River has to tell an operator; the rest is about itself.
type warnings struct{ slog.Handler }

// Enabled implements slog.Handler.
func (w warnings) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelWarn && w.Handler.Enabled(ctx, level)
}

// WithAttrs implements slog.Handler.
func (w warnings) WithAttrs(attrs []slog.Attr) slog.Handler {
	return warnings{w.Handler.WithAttrs(attrs)}
}

// WithGroup implements slog.Handler.
func (w warnings) WithGroup(name string) slog.Handler { return warnings{w.Handler.WithGroup(name)} }

// soon tries a job again after as many seconds as it was tried.
type soon struct{}

// NextRetry implements river.ClientRetryPolicy.
func (soon) NextRetry(job *rivertype.JobRow) time.Time {
	return time.Now().Add(time.Duration(job.Attempt) * time.Second)
}

// migrateRiver brings River's tables up to date, one at a time.
func migrateRiver(ctx context.Context, dsn string) error {
	pool, err := Pool(ctx, dsn)
	if err != nil {
		return err
	}
	defer pool.Close()
	conn, err := pool.Acquire(ctx)
	if err != nil {
		return err
	}
	defer conn.Release()
	const lock = 7_245_011_938 // any number that nobody else locks
	if _, err := conn.Exec(ctx, "SELECT pg_advisory_lock($1)", lock); err != nil {
		return err
	}
	defer func() { _, _ = conn.Exec(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", lock) }()
	migrator, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: riverSchema, Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	_, err = migrator.Migrate(ctx, rivermigrate.DirectionUp, nil)
	return err
}

// Start begins a report, or returns the one of the same question at the same revision.
// Errors are those of coverage.Question.Scope, coverage.ErrBusy and those of a Writer.
func (r *Reports) Start(ctx context.Context, q coverage.Question) (coverage.Report, error) {
	scope, err := q.Scope(r.live.Snapshot())
	if err != nil {
		return coverage.Report{}, err
	}
	text, err := json.Marshal(scope)
	if err != nil {
		return coverage.Report{}, err
	}
	id := coverage.NewID()
	err = pgx.BeginFunc(ctx, r.pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, "DELETE FROM coverage_reports WHERE created_at < now() - $1::interval", reportsKept); err != nil {
			return err
		}
		tag, err := tx.Exec(ctx, `INSERT INTO coverage_reports (id, question_key, scope, kits, chunks) VALUES ($1, $2, $3, $4, $5)
			ON CONFLICT (question_key) WHERE status IN ('running', 'done') DO NOTHING`, id, scope.Key(), text, scope.Kits, len(scope.Chunks))
		if err != nil {
			return err
		}
		if tag.RowsAffected() == 0 {
			return tx.QueryRow(ctx, "SELECT id FROM coverage_reports WHERE question_key = $1 AND status IN ('running', 'done')", scope.Key()).Scan(&id)
		}
		var running int
		if err := tx.QueryRow(ctx, "SELECT count(*) FROM coverage_reports WHERE status = 'running'").Scan(&running); err != nil {
			return err
		}
		if running > coverage.MaxRunning { // with this one
			return coverage.ErrBusy
		}
		_, err = tx.CopyFrom(ctx, pgx.Identifier{"coverage_chunks"}, []string{"report_id", "chunk", "vehicles"},
			pgx.CopyFromSlice(len(scope.Chunks), func(i int) ([]any, error) { return []any{id, i, scope.Chunks[i]}, nil }))
		if err != nil {
			return err
		}
		return r.enqueue(ctx, tx, id, 1, len(scope.Chunks))
	})
	if err != nil {
		return coverage.Report{}, pgError(err)
	}
	return r.Report(ctx, id)
}

// enqueue makes the jobs of a round.
func (r *Reports) enqueue(ctx context.Context, tx pgx.Tx, id string, round, chunks int) error {
	jobs := make([]river.InsertManyParams, chunks)
	for i := range jobs {
		jobs[i].Args = chunkArgs{Report: id, Round: round, Chunk: i}
	}
	_, err := r.client.InsertManyTx(ctx, tx, jobs)
	return err
}

// Report returns a report as far as it is.
func (r *Reports) Report(ctx context.Context, id string) (coverage.Report, error) {
	out := coverage.Report{ID: id}
	var scope coverage.Scope
	err := r.pool.QueryRow(ctx, `SELECT status, created_at, finished_at, failure, round, chunks, chunks_done, kits, scope, answer FROM coverage_reports WHERE id = $1`, id).
		Scan(&out.Status, &out.CreatedAt, &out.FinishedAt, &out.Failure, &out.Progress.Round, &out.Progress.Chunks, &out.Progress.ChunksDone, &out.Progress.Kits, &scope, &out.Answer)
	if errors.Is(err, pgx.ErrNoRows) {
		return out, coverage.NotFound(id)
	}
	out.Question = scope.Question
	out.CreatedAt = out.CreatedAt.UTC()
	if out.FinishedAt != nil {
		*out.FinishedAt = out.FinishedAt.UTC()
	}
	return out, pgError(err)
}

// Cancel ends a report; one that has ended stays as it is.
func (r *Reports) Cancel(ctx context.Context, id string) (coverage.Report, error) {
	err := pgx.BeginFunc(ctx, r.pool, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, "UPDATE coverage_reports SET status = 'cancelled', finished_at = now() WHERE id = $1 AND status = 'running'", id)
		if err != nil || tag.RowsAffected() == 0 {
			return err
		}
		if _, err := tx.Exec(ctx, "DELETE FROM coverage_chunks WHERE report_id = $1", id); err != nil {
			return err
		}
		// Chunks under way are told; those that wait find nothing to do.
		rows, err := tx.Query(ctx, "SELECT id FROM river.river_job WHERE kind = $1 AND state = 'running' AND args->>'report' = $2", chunkArgs{}.Kind(), id)
		if err != nil {
			return err
		}
		jobs, err := pgx.CollectRows(rows, pgx.RowTo[int64])
		if err != nil {
			return err
		}
		for _, job := range jobs {
			if _, err := r.client.JobCancelTx(ctx, tx, job); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return coverage.Report{}, pgError(err)
	}
	return r.Report(ctx, id)
}

// chunkWorker does the jobs.
type chunkWorker struct {
	river.WorkerDefaults[chunkArgs]
	reports *Reports
}

// Work implements river.Worker.
func (w *chunkWorker) Work(ctx context.Context, job *river.Job[chunkArgs]) error {
	err := w.reports.work(ctx, job)
	if err != nil && job.Attempt >= job.MaxAttempts {
		last, cancel := context.WithTimeout(context.WithoutCancel(ctx), queryTimeout)
		defer cancel()
		_, failed := w.reports.pool.Exec(last, "UPDATE coverage_reports SET status = 'failed', finished_at = now(), failure = $2 WHERE id = $1 AND status = 'running'",
			job.Args.Report, fmt.Sprintf("piece %d of round %d failed %d times, last with: %v", job.Args.Chunk+1, job.Args.Round, job.Attempt, err))
		return errors.Join(err, failed)
	}
	return err
}

func (r *Reports) work(ctx context.Context, job *river.Job[chunkArgs]) error {
	args := job.Args
	task := coverage.Task{Scope: new(coverage.Scope), State: new(coverage.State)}
	err := r.pool.QueryRow(ctx, `SELECT r.scope, r.state, c.vehicles, c.result FROM coverage_reports r JOIN coverage_chunks c ON c.report_id = r.id
		WHERE r.id = $1 AND r.status = 'running' AND r.round = $2 AND c.chunk = $3 AND c.round < $2`, args.Report, args.Round, args.Chunk).
		Scan(task.Scope, task.State, &task.Vehicles, &task.Prior)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil // cancelled, or done already
	}
	if err != nil {
		return err
	}
	// No chunk may see an older catalogue than the question did; a newer one is told.
	if err := r.live.Await(ctx, task.Scope.Revision); err != nil {
		return err
	}
	snapshot := r.live.Snapshot()
	result, err := coverage.Work(ctx, snapshot, &task)
	if err != nil {
		return err
	}
	return pgx.BeginFunc(ctx, r.pool, func(tx pgx.Tx) error {
		// The row of the report is locked first: chunks end one after another, and Cancel
		// takes its locks in the same order.
		var chunks, done int
		err := tx.QueryRow(ctx, `UPDATE coverage_reports SET chunks_done = chunks_done + 1 WHERE id = $1 AND status = 'running' AND round = $2
			AND EXISTS (SELECT FROM coverage_chunks WHERE report_id = $1 AND chunk = $3 AND round < $2) RETURNING chunks, chunks_done`, args.Report, args.Round, args.Chunk).
			Scan(&chunks, &done)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil // cancelled meanwhile, or done by another that was thought dead
		}
		if err != nil {
			return err
		}
		tag, err := tx.Exec(ctx, "UPDATE coverage_chunks SET round = $3, result = $4 WHERE report_id = $1 AND chunk = $2 AND round < $3", args.Report, args.Chunk, args.Round, result)
		if err != nil {
			return err
		}
		if tag.RowsAffected() == 0 {
			return fmt.Errorf("chunk %d of report %s was done by two at once; it is tried again", args.Chunk, args.Report)
		}
		if _, err := river.JobCompleteTx[*riverpgxv5.Driver](ctx, tx, job); err != nil {
			return err
		}
		if done < chunks {
			return nil
		}
		rows, err := tx.Query(ctx, "SELECT result FROM coverage_chunks WHERE report_id = $1 ORDER BY chunk", args.Report)
		if err != nil {
			return err
		}
		results, err := pgx.CollectRows(rows, pgx.RowTo[*coverage.Result])
		if err != nil {
			return err
		}
		task.State.Advance(snapshot, task.Scope, results)
		if !task.State.Done {
			if _, err := tx.Exec(ctx, "UPDATE coverage_reports SET round = round + 1, chunks_done = 0, state = $2 WHERE id = $1", args.Report, task.State); err != nil {
				return err
			}
			return r.enqueue(ctx, tx, args.Report, args.Round+1, chunks)
		}
		if _, err := tx.Exec(ctx, "UPDATE coverage_reports SET status = 'done', finished_at = now(), state = '{}', answer = $2 WHERE id = $1",
			args.Report, task.State.Answer(snapshot, task.Scope, results)); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, "DELETE FROM coverage_chunks WHERE report_id = $1", args.Report)
		return err
	})
}
