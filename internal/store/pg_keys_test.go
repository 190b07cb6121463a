package store_test

import (
	"bytes"
	"context"
	"errors"
	"regexp"
	"strings"
	"testing"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

var pepper = []byte("a pepper for the tests")

func TestKeysWorkUntilRevokedOnEveryReplica(t *testing.T) {
	dsn, pool := seeded(t)
	ctx := context.Background()
	replica := func() *store.Keys {
		p := storetest.Pool(t, dsn)
		keys, err := store.NewKeys(p, pepper)
		if err != nil {
			t.Fatal(err)
		}
		follow(t, p, keys)
		return keys
	}
	first, second := replica(), replica()
	if yes, err := store.HasKeys(ctx, pool); yes || err != nil {
		t.Fatalf("keys in a new database: %v, %v", yes, err)
	}

	if first.Required() {
		t.Error("a key is required where none was made")
	}
	key, text, err := first.Create(ctx, "till 3", []string{"stock"})
	if err != nil {
		t.Fatal(err)
	}
	if yes, err := store.HasKeys(ctx, pool); !yes || err != nil {
		t.Fatalf("no key: %v, %v", yes, err)
	}
	if !regexp.MustCompile(`^onetrip_[a-z2-7]{10}_[A-Za-z0-9_-]{43}$`).MatchString(text) {
		t.Errorf("the key is %s", text)
	}
	soon(t, "both replicas accept the key", func() bool {
		_, a := first.Verify(text)
		_, b := second.Verify(text)
		return a && b
	})
	got, _ := second.Verify(text)
	if got.Name != "till 3" || !got.Allows("stock") || !got.Allows("read") || got.Allows("catalogue") || got.Allows("admin") {
		t.Errorf("got %+v", got)
	}
	for i := range text { // not one character may be wrong
		wrong := []byte(text)
		wrong[i]++
		if _, ok := second.Verify(string(wrong)); ok && i < len(text)-1 { // the last holds bits that decode to nothing
			t.Errorf("%s was accepted for %s", wrong, text)
		}
	}
	for _, wrong := range []string{"", "onetrip", "onetrip__", "onetrip_" + key.ID + "_", text + "A", strings.ToUpper(text), "Bearer " + text} {
		if _, ok := second.Verify(wrong); ok {
			t.Errorf("%q was accepted", wrong)
		}
	}

	var hash []byte
	var row string
	if err := pool.QueryRow(ctx, "SELECT hash, k::text FROM api_keys k").Scan(&hash, &row); err != nil {
		t.Fatal(err)
	}
	secret := text[strings.LastIndex(text[:len(text)-43], "_")+1:]
	if strings.Contains(row, secret) || bytes.Contains(hash, []byte(secret)) {
		t.Error("the secret is in the database")
	}
	other, err := store.NewKeys(pool, []byte("another pepper for the tests"))
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Load(ctx); err != nil {
		t.Fatal(err)
	}
	if _, ok := other.Verify(text); ok {
		t.Error("the key is accepted under another pepper")
	}

	_, renewed, err := first.Rotate(ctx, key.ID)
	if err != nil {
		t.Fatal(err)
	}
	soon(t, "the new secret counts, the old does not", func() bool {
		_, old := second.Verify(text)
		_, is := second.Verify(renewed)
		return is && !old
	})

	if err := second.FlushUsed(ctx); err != nil {
		t.Fatal(err)
	}
	list, err := first.List(ctx)
	if err != nil || len(list) != 1 || list[0].LastUsed == nil || time.Since(*list[0].LastUsed) > time.Minute || list[0].Rotated == nil {
		t.Errorf("list %+v, %v", list, err)
	}

	if _, err := first.Revoke(ctx, key.ID); err != nil {
		t.Fatal(err)
	}
	soon(t, "no replica accepts a revoked key", func() bool {
		_, a := first.Verify(renewed)
		_, b := second.Verify(renewed)
		return !a && !b
	})
	if yes, err := store.HasKeys(ctx, pool); !yes || err != nil || !second.Required() {
		t.Errorf("with the last key revoked the service stands open: %v, %v", yes, err)
	}
	var missing *catalog.NotFoundError
	if _, _, err := first.Rotate(ctx, key.ID); !errors.As(err, &missing) {
		t.Errorf("a revoked key was rotated: %v", err)
	}
	if _, err := first.Revoke(ctx, "nothing"); !errors.As(err, &missing) {
		t.Errorf("nothing was revoked: %v", err)
	}
}

// soon waits for what every replica must show; how soon, TestTwoReplicasFollowOneWriter measures.
func soon(t *testing.T, what string, holds func() bool) {
	t.Helper()
	began := time.Now()
	for !holds() {
		if time.Since(began) > patience {
			t.Fatalf("not within %v: %s", patience, what)
		}
		time.Sleep(time.Millisecond)
	}
	t.Logf("after %v: %s", time.Since(began), what)
}

func TestKeysAreRefused(t *testing.T) {
	_, pool := seeded(t)
	ctx := context.Background()
	if _, err := store.NewKeys(pool, []byte("short")); !errors.Is(err, store.ErrNoPepper) {
		t.Errorf("a short pepper: %v", err)
	}
	keys, err := store.NewKeys(pool, pepper)
	if err != nil {
		t.Fatal(err)
	}
	for pointer, create := range map[string]func() error{
		"/name":     func() error { _, _, err := keys.Create(ctx, "", []string{"read"}); return err },
		"/scopes":   func() error { _, _, err := keys.Create(ctx, "x", nil); return err },
		"/scopes/1": func() error { _, _, err := keys.Create(ctx, "x", []string{"read", "stok"}); return err },
	} {
		var invalid *catalog.InvalidError
		if err := create(); !errors.As(err, &invalid) || invalid.Violations[0].Pointer != pointer {
			t.Errorf("%s: %v", pointer, err)
		}
	}
}
