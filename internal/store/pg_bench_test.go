package store_test

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

// bulk is how many parts the benchmarks add to the demo catalogue, and rows of stock they
// import: ONETRIP_BENCH_PARTS, 200,000 without it.
func bulk(b *testing.B) int {
	b.Helper()
	text := os.Getenv("ONETRIP_BENCH_PARTS")
	if text == "" {
		return 200_000
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		b.Fatal(err)
	}
	return n
}

func heapMB() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// BenchmarkLoad reads a large catalogue from Postgres and makes the snapshot.
func BenchmarkLoad(b *testing.B) {
	_, pool := seeded(b)
	enlarge(b, pool, bulk(b))
	ctx := context.Background()
	for b.Loop() {
		before := heapMB()
		began := time.Now()
		d, err := store.Load(ctx, pool)
		if err != nil {
			b.Fatal(err)
		}
		read := time.Since(began)
		s, err := kit.Open(d)
		if err != nil {
			b.Fatal(err)
		}
		opened := time.Since(began) - read
		parts := len(d.Parts)
		*d = catalog.Data{} // the snapshot has what it needs of it
		b.ReportMetric(read.Seconds(), "s-read")
		b.ReportMetric(opened.Seconds(), "s-open")
		b.ReportMetric(heapMB()-before, "MB")
		b.ReportMetric(float64(parts), "parts")
		runtime.KeepAlive(s)
	}
}

// BenchmarkStockDelta is from the call of a writer to the new stock in the snapshot.
func BenchmarkStockDelta(b *testing.B) {
	_, pool := seeded(b)
	enlarge(b, pool, bulk(b))
	live := follow(b, pool, nil)
	w := &store.Writer{Pool: pool}
	n := 0
	for b.Loop() {
		levels := live.Snapshot().Catalog.StockLevels(live.Snapshot().Catalog.Offer("BULK-0000001"))
		n++
		levels[0].OnHand = n % 1000
		written, err := w.PutStock(context.Background(), "bench", "BULK-0000001", levels, catalog.Precondition{})
		if err != nil {
			b.Fatal(err)
		}
		await(b, live, written.Revision, patience)
	}
}

// BenchmarkPartChange is from the call of a writer to the new price on the slower of two
// replicas of the demo catalogue.
func BenchmarkPartChange(b *testing.B) {
	dsn, pool := seeded(b)
	replicas := []*store.Live{follow(b, storetest.Pool(b, dsn), nil), follow(b, storetest.Pool(b, dsn), nil)}
	w := &store.Writer{Pool: pool}
	part := replicas[0].Snapshot().Catalog.Parts()[0]
	for b.Loop() {
		part = dearer(part, 100)
		written, err := w.PutPart(context.Background(), "bench", part, catalog.Precondition{})
		if err != nil {
			b.Fatal(err)
		}
		for _, live := range replicas {
			await(b, live, written.Revision, patience)
		}
	}
}

// BenchmarkImportStock imports a stock file with a row for each part, all of which change.
func BenchmarkImportStock(b *testing.B) {
	rows := bulk(b)
	_, pool := seeded(b)
	enlarge(b, pool, rows)
	w := &store.Writer{Pool: pool}
	location := load(b, pool).Locations[0].ID
	n := 1
	for b.Loop() {
		n++
		done, err := w.Import(context.Background(), ask("stock", "atomic"), stockFile(location, rows, n))
		if err != nil || done.Changed != int64(rows) {
			b.Fatal(done, err)
		}
	}
	b.ReportMetric(float64(rows*b.N)/b.Elapsed().Seconds(), "rows/s")
}

// BenchmarkResolveDuringImport is the time of a resolve while a stock file with a row for
// each part is imported by the same process, next to without.
func BenchmarkResolveDuringImport(b *testing.B) {
	rows := bulk(b)
	_, pool := seeded(b)
	enlarge(b, pool, rows)
	live := follow(b, pool, nil)
	w := &store.Writer{Pool: pool, Live: live}
	location := live.Snapshot().Catalog.Locations[0].ID
	measure := func(b *testing.B, stop func() bool) {
		var times []time.Duration
		for !stop() {
			began := time.Now()
			if _, err := resolveOne(live.Snapshot()); err != nil {
				b.Fatal(err)
			}
			times = append(times, time.Since(began))
		}
		slices.Sort(times)
		for _, percent := range []int{50, 99} {
			b.ReportMetric(float64(times[len(times)*percent/100].Microseconds()), fmt.Sprintf("p%d-µs", percent))
		}
		b.ReportMetric(float64(len(times)), "resolves")
	}
	b.Run("without", func(b *testing.B) {
		for b.Loop() {
			end := time.Now().Add(3 * time.Second)
			measure(b, func() bool { return time.Now().After(end) })
		}
	})
	n := 100
	b.Run("during", func(b *testing.B) {
		for b.Loop() {
			n++
			finished := make(chan error, 1)
			go func() {
				_, err := w.Import(context.Background(), ask("stock", "atomic"), stockFile(location, rows, n))
				finished <- err
			}()
			measure(b, func() bool {
				select {
				case err := <-finished:
					if err != nil {
						b.Error(err)
					}
					return true
				default:
					return false
				}
			})
		}
	})
}
