//go:build !race

package kit_test

import (
	"context"
	"testing"

	"onetrip/internal/kit"
)

// Not under the race detector, which empties pools at random.

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
const maxAllocations = 130
