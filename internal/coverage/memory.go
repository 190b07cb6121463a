package coverage

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Status is how far a report is.
type Status string

// Statuses. The last three are final.
const (
	Running   Status = "running"
	Done      Status = "done"
	Cancelled Status = "cancelled"
	Failed    Status = "failed"
)

// Progress of the round at work: rounds follow each other until the best set is found,
// of which the first, the sweep, is by far the longest.
type Progress struct {
	Round      int `json:"round"`
	Chunks     int `json:"chunks"`
	ChunksDone int `json:"chunks_done"`
	Kits       int `json:"kits"` // of the question
}

// Report is one that was asked for.
type Report struct {
	ID         string     `json:"id"`
	Status     Status     `json:"status"`
	CreatedAt  time.Time  `json:"created_at"`
	FinishedAt *time.Time `json:"finished_at,omitempty"`
	Progress   Progress   `json:"progress"`
	Question   Question   `json:"question"`
	Answer     *Answer    `json:"answer,omitempty"`
	Failure    string     `json:"failure,omitempty"`
}

// ErrBusy refuses a report while too many are at work.
var ErrBusy = errors.New("too many reports are at work; ask again when one of them is done, or cancel one")

// MaxRunning is how many reports may be at work at once.
const MaxRunning = 16

// maxKept is how many finished reports stay in memory.
const maxKept = 32

// NewID is the id of a new report.
func NewID() string { return strings.ToLower(rand.Text()[:16]) }

// NewProgress is that of a scope before its first round.
func NewProgress(scope *Scope) Progress {
	return Progress{Round: 1, Chunks: len(scope.Chunks), Kits: scope.Kits}
}

// Memory works reports out in this process and keeps the last ones in memory.
type Memory struct {
	snapshot func() *kit.Snapshot
	ctx      context.Context
	stop     context.CancelFunc
	running  sync.WaitGroup
	slots    chan struct{} // one for each chunk at work, of all reports

	mu      sync.Mutex
	reports []*kept // oldest first
}

type kept struct {
	Report
	key    string
	cancel context.CancelFunc
}

// NewMemory answers from the newest snapshot, with so many workers at most.
func NewMemory(snapshot func() *kit.Snapshot, workers int) *Memory {
	m := &Memory{snapshot: snapshot, slots: make(chan struct{}, workers)}
	m.ctx, m.stop = context.WithCancel(context.Background())
	return m
}

// Close cancels what is at work and waits for it to end.
func (m *Memory) Close() {
	m.stop()
	m.running.Wait()
}

// Start begins a report, or returns the one of the same question at the same revision of
// the catalogue. Errors are Scope's and ErrBusy.
func (m *Memory) Start(_ context.Context, q Question) (Report, error) {
	s := m.snapshot()
	scope, err := q.Scope(s)
	if err != nil {
		return Report{}, err
	}
	key := scope.Key()
	m.mu.Lock()
	defer m.mu.Unlock()
	atWork := 0
	for _, r := range m.reports {
		if r.key == key && (r.Status == Running || r.Status == Done) {
			return r.Report, nil
		}
		if r.Status == Running {
			atWork++
		}
	}
	if atWork >= MaxRunning {
		return Report{}, ErrBusy
	}
	r := &kept{key: key, Report: Report{ID: NewID(), Status: Running, CreatedAt: time.Now().UTC(), Progress: NewProgress(scope), Question: scope.Question}}
	ctx, cancel := context.WithCancel(m.ctx)
	r.cancel = cancel
	m.reports = append(m.reports, r)
	for len(m.reports) > maxKept {
		oldest := slices.IndexFunc(m.reports, func(r *kept) bool { return r.Status != Running })
		m.reports = slices.Delete(m.reports, oldest, oldest+1)
	}
	m.running.Go(func() {
		defer cancel()
		answer, err := m.run(ctx, s, scope, r)
		m.mu.Lock()
		defer m.mu.Unlock()
		if r.Status != Running {
			return // cancelled
		}
		now := time.Now().UTC()
		r.FinishedAt = &now
		switch {
		case err == nil:
			r.Status, r.Answer = Done, answer
		case ctx.Err() != nil:
			r.Status = Cancelled
		default:
			r.Status, r.Failure = Failed, err.Error()
		}
	})
	return r.Report, nil
}

// Report returns a report as far as it is.
func (m *Memory) Report(_ context.Context, id string) (Report, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, err := m.find(id)
	if err != nil {
		return Report{}, err
	}
	return r.Report, nil
}

// Cancel ends a report; one that has ended stays as it is.
func (m *Memory) Cancel(_ context.Context, id string) (Report, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, err := m.find(id)
	if err != nil {
		return Report{}, err
	}
	if r.Status == Running {
		now := time.Now().UTC()
		r.Status, r.FinishedAt = Cancelled, &now
		r.cancel()
	}
	return r.Report, nil
}

func (m *Memory) find(id string) (*kept, error) {
	for _, r := range m.reports {
		if r.ID == id {
			return r, nil
		}
	}
	return nil, NotFound(id)
}

// NotFound is the error for an unknown report.
func NotFound(id string) error {
	return &catalog.NotFoundError{What: "coverage report", ID: id, Where: "is kept; ask for it anew with POST /v1/coverage"}
}

// run works a report out on one snapshot.
func (m *Memory) run(ctx context.Context, s *kit.Snapshot, scope *Scope, r *kept) (*Answer, error) {
	state := &State{}
	results := make([]*Result, len(scope.Chunks))
	for round := 1; !state.Done; round++ {
		m.mu.Lock()
		r.Progress.Round, r.Progress.ChunksDone = round, 0
		m.mu.Unlock()
		var chunks sync.WaitGroup
		ctx, fail := context.WithCancelCause(ctx)
		for n := range scope.Chunks {
			select {
			case m.slots <- struct{}{}:
			case <-ctx.Done():
				continue
			}
			chunks.Go(func() {
				defer func() { <-m.slots }()
				result, err := work(ctx, s, &Task{Scope: scope, State: state, Vehicles: scope.Chunks[n], Prior: results[n]})
				if err != nil {
					fail(err)
					return
				}
				results[n] = result
				m.mu.Lock()
				r.Progress.ChunksDone++
				m.mu.Unlock()
			})
		}
		chunks.Wait()
		cause := context.Cause(ctx)
		fail(nil)
		if cause != nil {
			return nil, cause
		}
		state.Advance(s, scope, results)
	}
	return state.Answer(s, scope, results), nil
}

// work is Work; a panic of one report does not take the service down.
func work(ctx context.Context, s *kit.Snapshot, t *Task) (r *Result, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return Work(ctx, s, t)
}
