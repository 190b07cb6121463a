package kit_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"slices"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
)

// BenchmarkResolve answers the README's example on the demo catalogue, alternatives
// included.
func BenchmarkResolve(b *testing.B) {
	benchmarkRequests(b, []*kit.Request{readmeRequest(b)})
}

func readmeRequest(t testing.TB) *kit.Request {
	raw, err := os.ReadFile("../../testdata/requests/first.json")
	if err != nil {
		t.Fatal(err)
	}
	var request kit.Request
	if err := json.Unmarshal(raw, &request); err != nil {
		t.Fatal(err)
	}
	return &request
}

// BenchmarkResolveEveryPair answers every vehicle and carburetor of the demo catalogue
// in turn.
func BenchmarkResolveEveryPair(b *testing.B) {
	s := demoSnapshot(b)
	var requests []*kit.Request
	for _, v := range s.Catalog.Vehicles() {
		for _, c := range s.Catalog.Carburetors() {
			requests = append(requests, &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU})
		}
	}
	benchmarkRequests(b, requests)
}

func benchmarkRequests(b *testing.B, requests []*kit.Request) {
	s := demoSnapshot(b)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if _, err := kit.Resolve(context.Background(), s, requests[i%len(requests)]); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSweep sweeps 1,000 of 20,000 made-up vehicles over the demo catalogue's parts
// and 50 carburetors, with one worker and with one for each core.
func BenchmarkSweep(b *testing.B) {
	base := kittest.Data(b)
	data, err := store.MakeSynthetic(base, store.Synthetic{Parts: len(base.Parts), Vehicles: 20_000, Carburetors: 50, Seed: 1})
	if err != nil {
		b.Fatal(err)
	}
	s := kittest.Open(b, data)
	q := kit.SweepQuery{}
	for i, v := range s.Catalog.Vehicles() {
		if i%20 == 0 {
			q.Vehicles = append(q.Vehicles, v)
		}
	}
	for _, q.Workers = range slices.Compact([]int{1, runtime.GOMAXPROCS(0)}) {
		b.Run(fmt.Sprintf("workers=%d", q.Workers), func(b *testing.B) {
			b.ReportAllocs()
			pairs := 0
			for b.Loop() {
				stats, err := kit.Sweep(context.Background(), s, q, func(*kit.Class, *catalog.Carburetor, *kit.Summary) error { return nil })
				if err != nil {
					b.Fatal(err)
				}
				pairs += stats.Pairs
				b.ReportMetric(float64(stats.Pairs)/float64(stats.Resolved), "pairs/class-pair")
				b.ReportMetric(float64(stats.Resolved)/float64(stats.Solved), "class-pairs/selection")
			}
			b.ReportMetric(float64(pairs)/b.Elapsed().Seconds(), "pairs/s")
		})
	}
}
