package kit_test

import (
	"sync"
	"testing"

	"onetrip/db"
	"onetrip/internal/kit"
	"onetrip/internal/store"
)

// demo is the embedded demo catalogue, read once.
var demo = sync.OnceValues(func() (*kit.Snapshot, error) {
	data, err := store.ReadCatalogue(db.Seed())
	if err != nil {
		return nil, err
	}
	return kit.Open(data)
})

func demoSnapshot(t testing.TB) *kit.Snapshot {
	t.Helper()
	s, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	return s
}
