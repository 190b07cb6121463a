package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"onetrip/db"
	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

// benchCommand measures, each figure beside one of the same run to compare it with.
type benchCommand struct {
	Catalogue benchCatalogueCommand `cmd:"" help:"Make up a catalogue of a retailer's size and measure it beside the demo catalogue."`
	Rules     benchRulesCommand     `cmd:"" help:"Make up a catalogue and measure a trial of its rules without one of them."`
}

// benchCatalogueCommand makes a synthetic catalogue, indexes it, resolves and sweeps.
type benchCatalogueCommand struct {
	Parts       int    `default:"1000000" help:"Parts in it, the demo catalogue's included (${default})."`
	Vehicles    int    `default:"20000" help:"Vehicles in it (${default})."`
	Carburetors int    `default:"300" help:"Carburetors in it (${default})."`
	Seed        uint64 `default:"1" help:"Another seed makes another catalogue; the same makes the same (${default})."`
	Pairs       int    `default:"1000" help:"Vehicles with a carburetor to resolve in each measurement (${default})."`
	Sweep       []int  `default:"1000,50" placeholder:"VEHICLES,CARBURETORS" help:"Size of the sweep (1000,50)."`
}

// benchRounds is how often the same is measured; the best round counts, as others on the
// machine only ever make it slower.
const benchRounds = 3

// Run prints what was measured as it comes.
func (c *benchCatalogueCommand) Run(ctx context.Context, s streams) error {
	if len(c.Sweep) != 2 || c.Sweep[0] < 1 || c.Sweep[1] < 1 || c.Pairs < 1 {
		return &inputError{fmt.Errorf("--sweep takes two numbers above zero, such as 1000,50, and --pairs one; got %v and %d", c.Sweep, c.Pairs)}
	}
	b := &bench{ctx: ctx, out: s.out}
	b.say("%s/%s, %s, %d cores, %s; best of %d rounds", runtime.GOOS, runtime.GOARCH, processor(), runtime.GOMAXPROCS(0), runtime.Version(), benchRounds)
	empty := heapMB()

	began := time.Now()
	data, err := c.make()
	if err != nil {
		return err
	}
	b.say("made %d parts, %d vehicles, %d carburetors, %d bundles, %d stock levels in %.1f s (seed %d)", len(data.Parts), len(data.Vehicles),
		len(data.Carburetors), len(data.Bundles), len(data.Stock), time.Since(began).Seconds(), c.Seed)
	inDatabase := os.Getenv(databaseVariable) != ""
	if inDatabase {
		if err := b.fill(data); err != nil {
			return err
		}
	}
	large, err := b.open(data, empty)
	if err != nil {
		return err
	}
	demoData, demo, err := readCatalogue(db.Seed())
	if err != nil {
		return err
	}
	if err := b.resolve(demo, large, c.Pairs); err != nil {
		return err
	}
	vehicles := spread(large.Catalog.Vehicles(), c.Sweep[0])
	for _, one := range []struct {
		name        string
		snapshot    *kit.Snapshot
		carburetors []*catalog.Carburetor
	}{{"demo", demo, demoData.Carburetors}, {"synthetic", large, large.Catalog.Carburetors()}} {
		if err := b.sweep(one.name, one.snapshot, vehicles, spread(one.carburetors, c.Sweep[1])); err != nil {
			return err
		}
	}
	if !inDatabase {
		return b.err
	}
	if err := b.load(empty); err != nil {
		return err
	}
	return b.err
}

func (c *benchCatalogueCommand) make() (*catalog.Data, error) {
	base, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		return nil, err
	}
	data, err := store.MakeSynthetic(base, store.Synthetic{Parts: c.Parts, Vehicles: c.Vehicles, Carburetors: c.Carburetors, Seed: c.Seed})
	if err != nil {
		return nil, &inputError{err}
	}
	return data, nil
}

type bench struct {
	ctx context.Context
	out io.Writer
	err error // of out
}

func (b *bench) say(format string, args ...any) {
	if _, err := fmt.Fprintf(b.out, format+"\n", args...); err != nil && b.err == nil {
		b.err = err
	}
}

// open indexes a catalogue and says what the snapshot holds beside what was held before.
func (b *bench) open(data *catalog.Data, before float64) (*kit.Snapshot, error) {
	began := time.Now()
	snapshot, err := kit.Open(data)
	if err != nil {
		return nil, err
	}
	took := time.Since(began)
	*data = catalog.Data{} // the snapshot has what it needs of it
	forms := 0
	for _, spec := range catalog.Kinds {
		forms += len(snapshot.Catalog.Forms(spec.Kind))
	}
	b.say("indexed in %.1f s: %d forms; the snapshot holds %.0f MB", took.Seconds(), forms, heapMB()-before)
	return snapshot, nil
}

func heapMB() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// fill writes the catalogue into the database, which must hold none.
func (b *bench) fill(data *catalog.Data) error {
	pool, err := openDatabase(b.ctx)
	if err != nil {
		return err
	}
	defer pool.Close()
	began := time.Now()
	if err := store.ImportCatalogue(b.ctx, pool, data); err != nil {
		return err
	}
	b.say("checked and written to the database in %.1f s", time.Since(began).Seconds())
	return nil
}

// load reads it back. before is what memory held before any large catalogue: nobody looks
// at the one made here any more.
func (b *bench) load(before float64) error {
	pool, err := openDatabase(b.ctx)
	if err != nil {
		return err
	}
	defer pool.Close()
	began := time.Now()
	data, err := store.Load(b.ctx, pool)
	if err != nil {
		return err
	}
	b.say("read from the database in %.1f s", time.Since(began).Seconds())
	_, err = b.open(data, before)
	return err
}

// resolve times requests for the pairs of the demo catalogue against both catalogues, and
// for pairs of the large one.
func (b *bench) resolve(demo, large *kit.Snapshot, pairs int) error {
	w := tabwriter.NewWriter(b.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	_, _ = fmt.Fprintf(w, "resolve\tmedian µs\tp99 µs\tallocations\tkB\t\n") // Flush tells
	for _, one := range []struct {
		name         string
		snapshot, of *kit.Snapshot
	}{
		{"demo pairs, demo catalogue", demo, demo},
		{"demo pairs, synthetic catalogue", large, demo},
		{"synthetic pairs, synthetic catalogue", large, large},
	} {
		requests := requestsOf(one.of, pairs)
		var best timing
		for range benchRounds {
			t, err := timeResolve(b.ctx, one.snapshot, requests)
			if err != nil {
				return err
			}
			if best.median == 0 || t.median < best.median {
				best = t
			}
		}
		_, _ = fmt.Fprintf(w, "%s\t%.0f\t%.0f\t%.0f\t%.0f\t\n", one.name, best.median, best.p99, best.allocations, best.kB)
	}
	return w.Flush()
}

// requestsOf spreads pairs over all vehicles and carburetors.
func requestsOf(s *kit.Snapshot, pairs int) []*kit.Request {
	vehicles, carburetors := s.Catalog.Vehicles(), s.Catalog.Carburetors()
	out := make([]*kit.Request, pairs)
	for i := range out {
		at := i * len(vehicles) * len(carburetors) / pairs
		out[i] = &kit.Request{VehicleID: vehicles[at/len(carburetors)].ID, CarburetorSKU: carburetors[at%len(carburetors)].SKU}
	}
	return out
}

// timing is of one operation, in microseconds.
type timing struct{ median, p99, allocations, kB float64 }

func timeResolve(ctx context.Context, s *kit.Snapshot, requests []*kit.Request) (timing, error) {
	times := make([]time.Duration, len(requests))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for i, r := range requests {
		began := time.Now()
		if _, err := kit.Resolve(ctx, s, r); err != nil {
			return timing{}, fmt.Errorf("vehicle %s with carburetor %s: %w", r.VehicleID, r.CarburetorSKU, err)
		}
		times[i] = time.Since(began)
	}
	runtime.ReadMemStats(&after)
	slices.Sort(times)
	at := func(percent int) float64 { return float64(times[len(times)*percent/100].Nanoseconds()) / 1e3 }
	n := float64(len(requests))
	return timing{at(50), at(99), float64(after.Mallocs-before.Mallocs) / n, float64(after.TotalAlloc-before.TotalAlloc) / n / 1024}, nil
}

// sweep times a sweep with one worker and with one for each core.
func (b *bench) sweep(name string, s *kit.Snapshot, vehicles []*catalog.Vehicle, carburetors []*catalog.Carburetor) error {
	for _, workers := range slices.Compact([]int{1, runtime.GOMAXPROCS(0)}) {
		verdicts := map[kit.Verdict]int{}
		q := kit.SweepQuery{Vehicles: vehicles, Carburetors: carburetors, Workers: workers}
		before, most := heapMB(), 0.0
		q.Progress = func(int, int) {
			var m runtime.MemStats
			if runtime.ReadMemStats(&m); float64(m.HeapAlloc)/(1<<20) > most {
				most = float64(m.HeapAlloc) / (1 << 20)
			}
		}
		began := time.Now()
		stats, err := kit.Sweep(b.ctx, s, q, func(class *kit.Class, _ *catalog.Carburetor, k *kit.Summary) error {
			verdicts[k.Verdict] += len(class.Vehicles)
			return nil
		})
		if err != nil {
			return err
		}
		took := time.Since(began).Seconds()
		b.say("sweep of the %s catalogue, %d vehicles x %d carburetors, %d workers: %.2f s, %.0f pairs/s, %d classes of vehicles (sharing %.1f), %d selections (sharing %.1f), heap at most %.0f MB above the %.0f before",
			name, stats.Vehicles, stats.Carburetors, workers, took, float64(stats.Pairs)/took, stats.Classes, float64(stats.Pairs)/float64(stats.Resolved), stats.Solved, float64(stats.Resolved)/float64(stats.Solved), most-before, before)
		b.say("  complete %d, with warnings %d, incomplete %d, unsuitable %d", verdicts[kit.Complete], verdicts[kit.CompleteWithWarnings], verdicts[kit.Incomplete], verdicts[kit.Unsuitable])
	}
	return nil
}

// spread is n elements of a list, evenly over it.
func spread[T any](list []T, n int) []T {
	n = min(n, len(list))
	out := make([]T, n)
	for i := range out {
		out[i] = list[i*len(list)/n]
	}
	return out
}

// processor is the name of the CPU where Linux tells it.
func processor() string {
	info, err := os.ReadFile("/proc/cpuinfo")
	if err == nil {
		for line := range strings.Lines(string(info)) {
			if name, value, found := strings.Cut(line, ":"); found && strings.TrimSpace(name) == "model name" {
				return strings.TrimSpace(value)
			}
		}
	}
	return "CPU not known"
}
