package store

import (
	"cmp"
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// memoryKits is how many saved kits a service without a database keeps, some 40 kB each.
const memoryKits = 1000

// MemoryKits keeps saved kits in memory, for a service without a database: the newest
// thousand, until it stops. Every kit says so in its notice. Errors are those of Kits but
// catalog.ErrUnavailable.
type MemoryKits struct {
	mu    sync.Mutex
	kits  []*kit.Saved        // by time; what is in it is never changed, but replaced
	once  map[string]string   // code by actor and idempotency key
	asked map[string]kit.Once // what saved a kit, by code
}

// NewMemoryKits keeps none yet.
func NewMemoryKits() *MemoryKits {
	return &MemoryKits{once: map[string]string{}, asked: map[string]kit.Once{}}
}

func onceKey(o kit.Once) string { return o.Actor + "\x00" + o.Key }

// Save keeps what make makes, once for each key of an actor.
func (ks *MemoryKits) Save(ctx context.Context, once kit.Once, make func(context.Context) (*kit.Saved, error)) (*kit.Saved, error) {
	ks.mu.Lock()
	saved, err := ks.repeated(once)
	ks.mu.Unlock()
	if err != nil || saved != nil {
		return saved, err
	}
	fresh, err := make(ctx)
	if err != nil {
		return nil, err
	}
	ks.mu.Lock()
	defer ks.mu.Unlock()
	if saved, err := ks.repeated(once); err != nil || saved != nil { // meanwhile
		return saved, err
	}
	sv := *fresh
	sv.Notice = fmt.Sprintf("Kept in the memory of this service only, until it stops, and only while it is among the %d newest. Attach a database to keep kits for good.", memoryKits)
	code := ""
	for code == "" || ks.index(code) >= 0 {
		if code, err = kit.NewCode(rand.Reader); err != nil {
			return nil, err
		}
	}
	sv.Begin(code, now())
	ks.kits = append(ks.kits, &sv)
	ks.asked[code] = once
	if once.Key != "" {
		ks.once[onceKey(once)] = code
	}
	if len(ks.kits) > memoryKits {
		oldest := ks.kits[0].Code
		delete(ks.once, onceKey(ks.asked[oldest]))
		delete(ks.asked, oldest)
		ks.kits = slices.Delete(ks.kits, 0, 1)
	}
	return &sv, nil
}

func (ks *MemoryKits) repeated(once kit.Once) (*kit.Saved, error) {
	code, used := ks.once[onceKey(once)]
	switch {
	case !used:
		return nil, nil
	case ks.asked[code].Sum != once.Sum:
		return nil, catalog.ErrKeyReused
	}
	return ks.kits[ks.index(code)].AsSaved()
}

func (ks *MemoryKits) index(code string) int {
	return slices.IndexFunc(ks.kits, func(sv *kit.Saved) bool { return sv.Code == code })
}

func (ks *MemoryKits) find(code string) (at int, err error) {
	if at = ks.index(code); at < 0 {
		err = &kit.UnknownCodeError{Code: code, Detail: fmt.Sprintf("; this service keeps kits in memory, the %d newest since it was started", memoryKits)}
	}
	return at, err
}

// Find returns the kit under a code.
func (ks *MemoryKits) Find(_ context.Context, code string) (*kit.Saved, error) {
	ks.mu.Lock()
	defer ks.mu.Unlock()
	at, err := ks.find(code)
	if err != nil {
		return nil, err
	}
	return ks.kits[at], nil
}

// Change lets change work on the kit under a code while nobody else does, and keeps what
// it leaves.
func (ks *MemoryKits) Change(ctx context.Context, code string, pre catalog.Precondition, change func(ctx context.Context, sv *kit.Saved, now time.Time) error) (*kit.Saved, error) {
	ks.mu.Lock()
	defer ks.mu.Unlock()
	at, err := ks.find(code)
	if err != nil {
		return nil, err
	}
	sv := *ks.kits[at]
	if !pre.Holds(catalog.ETag(&sv)) {
		return nil, catalog.ErrPreconditionFailed
	}
	if err := change(ctx, &sv, now()); err != nil {
		return nil, err
	}
	ks.kits[at] = &sv
	return &sv, nil
}

// List returns the kits that a filter asks for.
func (ks *MemoryKits) List(_ context.Context, f kit.SavedFilter) ([]kit.SavedSummary, error) {
	ks.mu.Lock()
	defer ks.mu.Unlock()
	newestFirst := func(a, b *kit.SavedSummary) int {
		return cmp.Or(b.SavedAt.Compare(a.SavedAt), strings.Compare(b.Code, a.Code))
	}
	var list []kit.SavedSummary
	for _, sv := range ks.kits {
		text := strings.ToLower(sv.VehicleID + " " + sv.Vehicle)
		lacks := func(word string) bool { return !strings.Contains(text, strings.ToLower(word)) }
		switch {
		case f.Status != "" && f.Status != sv.Status, f.VehicleID != "" && f.VehicleID != sv.VehicleID, slices.ContainsFunc(f.Words, lacks):
		case !f.From.IsZero() && sv.SavedAt.Before(f.From), !f.Before.IsZero() && !sv.SavedAt.Before(f.Before):
		case f.After != nil && newestFirst(f.After, &sv.SavedSummary) >= 0:
		default:
			list = append(list, sv.SavedSummary)
		}
	}
	slices.SortFunc(list, func(a, b kit.SavedSummary) int { return newestFirst(&a, &b) })
	return list[:min(len(list), f.Limit)], nil
}
