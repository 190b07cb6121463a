package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

// patience is what a write may take to show on a replica, however busy the machine; how
// soon it does is for benchmarks.
const patience = 20 * time.Second

func follow(t testing.TB, pool *pgxpool.Pool, keys *store.Keys) *store.Live {
	t.Helper()
	live, err := store.Follow(context.Background(), pool, keys, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(live.Close)
	return live
}

// await fails the test when a replica does not show a revision in time, and returns
// how long it took.
func await(t testing.TB, live *store.Live, revision int64, limit time.Duration) time.Duration {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	began := time.Now()
	if err := live.Await(ctx, revision); err != nil {
		t.Fatalf("revision %d is not there after %v; the replica shows %d", revision, limit, live.Snapshot().Catalog.Revision)
	}
	return time.Since(began)
}

// dearer is a copy of a part at another price.
func dearer(p *catalog.Part, minor int64) *catalog.Part {
	q := *p
	q.Price.AmountMinor += minor
	return &q
}

// resolveOne is the answer for the first vehicle and carburetor.
func resolveOne(s *kit.Snapshot) ([]byte, error) {
	answer, err := kit.Resolve(context.Background(), s, &kit.Request{
		VehicleID: s.Catalog.Vehicles()[0].ID, CarburetorSKU: s.Catalog.Carburetors()[0].SKU})
	if err != nil {
		return nil, err
	}
	return json.Marshal(answer)
}

func TestTwoReplicasFollowOneWriter(t *testing.T) {
	dsn, pool := seeded(t)
	first, second := follow(t, storetest.Pool(t, dsn), nil), follow(t, storetest.Pool(t, dsn), nil)
	w := &store.Writer{Pool: pool}
	ctx := context.Background()
	replicas := []*store.Live{first, second}
	part := first.Snapshot().Catalog.Parts()[0]
	sku := part.SKU
	shown := func(written catalog.Written, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		for _, live := range replicas {
			await(t, live, written.Revision, patience)
		}
	}

	for range 5 {
		part = dearer(part, 100)
		written, err := w.PutPart(ctx, "test", part, catalog.Precondition{})
		shown(written, err)
		for _, live := range replicas {
			if got, err := live.Snapshot().Catalog.Part(sku); err != nil || catalog.ETag(got) != written.ETag || catalog.ETag(got) != catalog.ETag(part) {
				t.Errorf("the replica shows %+v, %v", got, err)
			}
		}
	}

	_, loads := first.Refreshes()
	for i := range 5 {
		levels := first.Snapshot().Catalog.StockLevels(&part.Offer)
		levels[0].OnHand = 70 + i
		written, err := w.PutStock(ctx, "test", sku, levels, catalog.Precondition{})
		shown(written, err)
		for _, live := range replicas {
			s := live.Snapshot().Catalog
			if got := s.OnHand(s.Offer(sku), 0); got != 70+i {
				t.Errorf("%d on hand, want %d", got, 70+i)
			}
		}
	}
	if deltas, after := first.Refreshes(); deltas != 5 || after != loads {
		t.Errorf("%d deltas and %d loads; stock alone must be a delta", deltas, after-loads)
	}
}

func TestAKilledListenerCatchesUp(t *testing.T) {
	dsn, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: storetest.Pool(t, dsn)}
	ctx := context.Background()
	part := live.Snapshot().Catalog.Parts()[3]
	levels := live.Snapshot().Catalog.StockLevels(&part.Offer)

	for round := range 3 {
		var killed int // everyone else, the listener too
		err := pool.QueryRow(ctx, "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()").Scan(&killed)
		if err != nil {
			t.Fatal(err)
		}
		if killed == 0 {
			t.Fatal("no listener was killed")
		}
		levels[0].OnHand++
		written, err := (&store.Writer{Pool: storetest.Pool(t, dsn)}).PutStock(ctx, "test", part.SKU, levels, catalog.Precondition{})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("round %d: caught up after %v", round, await(t, live, written.Revision, patience))
		if got := live.Snapshot().Catalog.StockLevels(live.Snapshot().Catalog.Offer(part.SKU)); got[0].OnHand != levels[0].OnHand {
			t.Errorf("%d on hand, want %d", got[0].OnHand, levels[0].OnHand)
		}
	}
	if deltas, loads := live.Refreshes(); loads != 1 || deltas != 3 {
		t.Errorf("%d deltas, %d loads; want 3 deltas after the first load", deltas, loads)
	}

	// And notifications arrive again on the new connection.
	levels[0].OnHand++
	written, err := w.PutStock(ctx, "test", part.SKU, levels, catalog.Precondition{})
	if err != nil {
		t.Fatal(err)
	}
	await(t, live, written.Revision, patience)
}

func TestResolveGoesOnWhilePostgresIsAway(t *testing.T) {
	dsn, pool := seeded(t)
	live := follow(t, pool, nil)
	w := &store.Writer{Pool: pool, Live: live}
	want, err := resolveOne(live.Snapshot())
	if err != nil {
		t.Fatal(err)
	}

	stop := make(chan struct{})
	var resolved, failed atomic.Int64
	var readers sync.WaitGroup
	for range 4 {
		readers.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				if got, err := resolveOne(live.Snapshot()); err != nil || string(got) != string(want) {
					failed.Add(1)
				}
				resolved.Add(1)
			}
		})
	}

	end := storetest.Outage(t, dsn)
	deadline := time.Now().Add(10 * time.Second)
	for connected := true; connected; connected, _ = live.Health() {
		if time.Now().After(deadline) {
			t.Fatal("the loss of the database was not noticed")
		}
		time.Sleep(10 * time.Millisecond)
	}
	ctx := context.Background()
	part := live.Snapshot().Catalog.Parts()[0]
	if _, err := w.PutPart(ctx, "test", dearer(part, 1), catalog.Precondition{}); !errors.Is(err, catalog.ErrUnavailable) {
		t.Errorf("a write while Postgres is away: %v", err)
	}
	time.Sleep(300 * time.Millisecond)
	if _, age := live.Health(); age < 300*time.Millisecond {
		t.Errorf("age %v while Postgres is away", age)
	}
	end()

	deadline = time.Now().Add(20 * time.Second)
	for connected := false; !connected; connected, _ = live.Health() {
		if time.Now().After(deadline) {
			t.Fatal("the database is back, but no one listens")
		}
		time.Sleep(10 * time.Millisecond)
	}
	close(stop)
	readers.Wait()
	if failed.Load() > 0 || resolved.Load() == 0 {
		t.Errorf("%d of %d resolves failed", failed.Load(), resolved.Load())
	}
	t.Logf("%d resolves, none failed", resolved.Load())

	written, err := w.PutPart(ctx, "test", dearer(part, 100), catalog.Precondition{})
	if err != nil {
		t.Fatal(err)
	}
	await(t, live, written.Revision, patience)
}

func TestARefusedRuleLeavesTheLastSnapshot(t *testing.T) {
	_, pool := seeded(t)
	live := follow(t, pool, nil)
	ctx := context.Background()
	_, err := pool.Exec(ctx, `
		WITH broken AS (UPDATE rules SET source = replace(source, 'when:', 'whenn:') WHERE (file, place) = (SELECT file, place FROM rules ORDER BY file, place LIMIT 1)),
		next AS (UPDATE catalogue SET revision = revision + 1 RETURNING revision),
		kept AS (INSERT INTO revisions SELECT revision, now(), 'someone', 'catalogue', 'by hand' FROM next)
		SELECT pg_notify('onetrip_catalogue', '{}')`)
	if err != nil {
		t.Fatal(err)
	}
	time.Sleep(250 * time.Millisecond) // many times what a sound one takes
	if got := live.Snapshot().Catalog.Revision; got != 1 {
		t.Errorf("revision %d with a broken rule is served", got)
	}
	if _, err := resolveOne(live.Snapshot()); err != nil {
		t.Error(err)
	}
	if connected, _ := live.Health(); !connected {
		t.Error("a broken rule must not cost the connection")
	}
}
