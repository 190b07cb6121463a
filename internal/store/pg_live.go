package store

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

// Channels of NOTIFY.
const (
	catalogueChannel = "onetrip_catalogue" // a new revision: {"revision": 7, "what": "stock"}
	keysChannel      = "onetrip_keys"      // some key was created, rotated or revoked
)

const (
	heartbeat    = 2 * time.Second        // how long silence is trusted
	queryTimeout = 5 * time.Second        // for the small questions
	loadTimeout  = 5 * time.Minute        // for a whole catalogue
	firstBackOff = 50 * time.Millisecond  // doubling
	longestPause = 5 * time.Second        // between attempts to reach the database
	swapPromise  = 250 * time.Millisecond // after a write every replica shows it
)

// Live keeps the snapshot of the newest revision in memory. It listens for new
// revisions, applies changes of stock and rules as a delta and loads anything else anew, and goes
// on with what it has while the database is away.
type Live struct {
	config *pgx.ConnConfig
	keys   *Keys
	log    *slog.Logger

	snapshot  atomic.Pointer[kit.Snapshot]
	connected atomic.Bool
	synced    atomic.Int64 // Unix nanoseconds when the snapshot was last known to be the newest
	deltas    atomic.Int64
	loads     atomic.Int64

	mu      sync.Mutex
	changed chan struct{} // closed at the next swap

	stop    context.CancelFunc
	stopped chan struct{}
}

// Follow loads the catalogue and keeps up with it until Close. keys may be nil; given,
// they are kept up to date too.
func Follow(ctx context.Context, pool *pgxpool.Pool, keys *Keys, log *slog.Logger) (*Live, error) {
	l := &Live{config: pool.Config().ConnConfig, keys: keys, log: log, changed: make(chan struct{}), stopped: make(chan struct{})}
	conn, err := l.connect(ctx)
	if err != nil {
		return nil, pgError(err)
	}
	running, stop := context.WithCancel(context.WithoutCancel(ctx))
	l.stop = stop
	go l.run(running, conn)
	return l, nil
}

// Close stops following. The last snapshot stays readable.
func (l *Live) Close() {
	l.stop()
	<-l.stopped
}

// Snapshot is the newest one known.
func (l *Live) Snapshot() *kit.Snapshot { return l.snapshot.Load() }

// Health reports whether the database answers, and for how long it has not been known
// whether the snapshot is the newest: at most a few seconds while connected.
func (l *Live) Health() (connected bool, age time.Duration) {
	return l.connected.Load(), time.Since(time.Unix(0, l.synced.Load()))
}

// Refreshes counts the snapshots made since Follow: by applying stock changes, and by
// loading the whole catalogue.
func (l *Live) Refreshes() (deltas, loads int64) { return l.deltas.Load(), l.loads.Load() }

// Await returns when the snapshot shows a revision, or with the context's error.
func (l *Live) Await(ctx context.Context, revision int64) error {
	for {
		l.mu.Lock()
		changed := l.changed
		l.mu.Unlock()
		if l.Snapshot().Catalog.Revision >= revision {
			return nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (l *Live) swap(next *kit.Snapshot) {
	l.snapshot.Store(next)
	l.mu.Lock()
	close(l.changed)
	l.changed = make(chan struct{})
	l.mu.Unlock()
}

// run listens until the context ends, reconnecting as long as it takes.
func (l *Live) run(ctx context.Context, conn *pgx.Conn) {
	defer close(l.stopped)
	pause := firstBackOff
	for {
		if conn != nil {
			l.connected.Store(true)
			pause = firstBackOff
			err := l.listen(ctx, conn)
			l.connected.Store(false)
			l.close(conn)
			if ctx.Err() != nil {
				return
			}
			l.log.Warn("lost the database; the last snapshot is served", "revision", l.Snapshot().Catalog.Revision, "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(pause/2 + rand.N(pause/2)): // so that replicas do not all knock at once
		}
		pause = min(2*pause, longestPause)
		var err error
		if conn, err = l.connect(ctx); err != nil {
			l.log.Warn("cannot reach the database", "error", err)
		}
	}
}

// connect begins to listen and then catches up, in this order, so that no revision
// falls between.
func (l *Live) connect(ctx context.Context) (*pgx.Conn, error) {
	conn, err := pgx.ConnectConfig(ctx, l.config)
	if err != nil {
		return nil, err
	}
	if _, err = conn.Exec(ctx, "LISTEN "+catalogueChannel+"; LISTEN "+keysChannel); err == nil {
		if err = l.refresh(ctx, conn); err == nil && l.keys != nil {
			err = l.keys.load(ctx, conn)
		}
	}
	if err != nil {
		l.close(conn)
		return nil, err
	}
	return conn, nil
}

func (l *Live) close(conn *pgx.Conn) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = conn.Close(ctx) // it is broken or no longer needed
}

// listen refreshes on every notification, and looks by itself when none came for a
// while: a connection can be dead without saying so. It returns the error that ended
// the connection.
func (l *Live) listen(ctx context.Context, conn *pgx.Conn) error {
	for {
		wait, cancel := context.WithTimeout(ctx, heartbeat)
		n, err := conn.WaitForNotification(wait)
		cancel()
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil && !pgconn.Timeout(err):
			return err
		case n != nil && n.Channel == keysChannel:
			if l.keys != nil {
				err = l.keys.load(ctx, conn)
			}
		case n != nil:
			err = l.refresh(ctx, conn)
		default:
			if err = l.ping(ctx, conn); err == nil {
				err = l.refresh(ctx, conn)
			}
			if l.keys != nil && err == nil {
				err = l.keys.FlushUsed(ctx)
			}
		}
		if err != nil && (conn.IsClosed() || isConnection(err)) {
			return err
		}
		if err != nil { // such as a rule that someone broke with SQL: what is served stays
			l.log.Error("cannot take over the new revision; the last snapshot is served", "revision", l.Snapshot().Catalog.Revision, "error", err)
		}
	}
}

func (l *Live) ping(ctx context.Context, conn *pgx.Conn) error {
	ctx, cancel := context.WithTimeout(ctx, queryTimeout)
	defer cancel()
	return conn.Ping(ctx)
}

// refresh makes the snapshot the newest. One transaction sees one revision.
func (l *Live) refresh(ctx context.Context, conn *pgx.Conn) error {
	ctx, cancel := context.WithTimeout(ctx, loadTimeout)
	defer cancel()
	var next *kit.Snapshot
	var whole *catalog.Data
	current := l.Snapshot()
	err := pgx.BeginTxFunc(ctx, conn, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		if current == nil {
			var err error
			whole, err = load(ctx, tx)
			return err
		}
		have := current.Catalog.Revision
		n, err := newer(ctx, tx, have)
		if err != nil || n.revision == have {
			return err
		}
		if n.other {
			whole, err = load(ctx, tx)
			return err
		}
		levels, err := loadStock(ctx, tx, " WHERE revision > $1", have)
		if err != nil {
			return err
		}
		if next, err = current.WithStock(n.revision, levels); err != nil || !n.rules {
			return err
		}
		files, err := loadRules(ctx, tx)
		if err != nil {
			return err
		}
		set, err := rules.Parse(files)
		if err != nil {
			return err
		}
		next = kit.NewSnapshot(next.Catalog, set)
		return nil
	})
	if err != nil {
		return err
	}
	now := time.Now()
	switch {
	case whole != nil:
		if next, err = kit.Open(whole); err != nil {
			return err
		}
		l.loads.Add(1)
	case next != nil:
		l.deltas.Add(1)
	}
	l.synced.Store(now.UnixNano())
	if next != nil {
		l.swap(next)
	}
	return nil
}

// news is the newest revision and what the revisions since another are about: stock,
// rules, or something other.
type news struct {
	revision     int64
	rules, other bool
}

// newer tells what is new since a revision. After a revision above all there are, of a
// database restored from a backup since, everything may be other. A publication of rules
// is about nothing else, and has audit rows of rules.
func newer(ctx context.Context, tx pgx.Tx, have int64) (n news, err error) {
	err = tx.QueryRow(ctx, `
		WITH since AS (
			SELECT r.what = 'stock' AS stock, r.what <> 'stock' AND EXISTS (SELECT FROM audit a WHERE a.kind = 'rule' AND a.revision = r.revision) AS rules
			FROM revisions r WHERE r.revision > $1)
		SELECT revision, coalesce((SELECT bool_or(rules) FROM since), false),
			revision < $1 OR revision - $1 <> (SELECT count(*) FROM since WHERE stock OR rules)
		FROM catalogue`, have).Scan(&n.revision, &n.rules, &n.other)
	if err != nil {
		return news{}, fmt.Errorf("revision of the catalogue: %w", err)
	}
	return n, nil
}

// notify tells every replica of a new revision when the transaction commits.
func notify(ctx context.Context, tx pgx.Tx, revision int64, what string) error {
	payload, err := json.Marshal(map[string]any{"revision": revision, "what": what})
	if err != nil {
		return err
	}
	_, err = tx.Exec(ctx, "SELECT pg_notify($1, $2)", catalogueChannel, string(payload))
	return err
}
