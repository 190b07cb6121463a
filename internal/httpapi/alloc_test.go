//go:build !race

package httpapi

import (
	"context"
	"os"
	"testing"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// Not under the race detector, which empties pools at random.

// A body that is right is read without the value that kin-openapi needs.
func TestDecodingAllocatesLittle(t *testing.T) {
	body, err := os.ReadFile("../../testdata/requests/first.json")
	if err != nil {
		t.Fatal(err)
	}
	var problem error
	got := testing.AllocsPerRun(100, func() { _, problem = DecodeResolve(body) })
	if problem != nil {
		t.Fatal(problem)
	}
	if got > 20 { // 9; kin-openapi's check alone makes it 240
		t.Errorf("%v allocations", got)
	}
}

// An answer takes the memory of its few hand-written values and no more.
func TestEncodingAllocatesLittle(t *testing.T) {
	snap := kittest.Demo(t)
	k, err := kit.Resolve(context.Background(), snap, &kit.Request{VehicleID: snap.Catalog.Vehicles()[0].ID, CarburetorSKU: snap.Catalog.Carburetors()[0].SKU})
	if err != nil {
		t.Fatal(err)
	}
	got := testing.AllocsPerRun(100, func() {
		b := takeBuffer()
		defer b.release()
		err = b.value(k)
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v allocations for %d checks", got, len(k.Checks))
	if got > 75 { // 50 with 12 checks: inputs of a check, ends, sizes
		t.Errorf("%v allocations", got)
	}
}
