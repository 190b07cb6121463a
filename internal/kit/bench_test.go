package kit_test

import (
	"context"
	"encoding/json"
	"os"
	"testing"

	"onetrip/internal/kit"
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

// Allocations are counted since they do not depend on the machine; time is for benchmarks.
func TestResolveAllocatesLittle(t *testing.T) {
	s, request := demoSnapshot(t), readmeRequest(t)
	allocations := testing.AllocsPerRun(200, func() {
		if _, err := kit.Resolve(context.Background(), s, request); err != nil {
			t.Fatal(err)
		}
	})
	if allocations > maxAllocations {
		t.Errorf("%v allocations for a kit, at most %d are wanted: see what is new with -memprofile", allocations, maxAllocations)
	}
}

// maxAllocations leaves room for what a collection drops from the pools.
const maxAllocations = 150
