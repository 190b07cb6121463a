package store

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base32"
	"encoding/base64"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
)

// Scopes are what a key can be allowed: read the catalogue and resolve, save kits,
// write stock, write the catalogue, and everything.
var Scopes = []string{"read", "kits", "stock", "catalogue", "admin"}

// Key is a key to the service, without its secret.
type Key struct {
	ID       string     `json:"id"`
	Name     string     `json:"name"`
	Scopes   []string   `json:"scopes"`
	Created  time.Time  `json:"created_at"`
	Rotated  *time.Time `json:"rotated_at,omitempty"`
	Revoked  *time.Time `json:"revoked_at,omitempty"`
	LastUsed *time.Time `json:"last_used_at,omitempty"` // to the nearest ten seconds or so
}

// Allows reports whether the key has a scope. Every key may read; admin may everything.
func (k *Key) Allows(scope string) bool {
	return scope == "read" || slices.Contains(k.Scopes, scope) || slices.Contains(k.Scopes, "admin")
}

// Keys creates keys and checks them. A key is "onetrip_" + id + "_" + secret, of 256
// random bits; what is stored is the secret's HMAC-SHA-256 under a pepper that is not
// in the database, so that neither a copy of the database nor the pepper alone helps to
// guess or make keys. Checking uses memory alone: Live keeps it up to date.
type Keys struct {
	pool   *pgxpool.Pool
	pepper []byte
	active atomic.Pointer[map[string]activeKey]
	ever   atomic.Bool // some key was made, be it revoked since

	mu   sync.Mutex
	used map[string]time.Time // since the last flush
}

type activeKey struct {
	Key
	hash []byte
}

// minPepperBytes: fewer could be guessed together with a stolen table.
const minPepperBytes = 16

// ErrNoPepper refuses to make or check keys without a pepper.
var ErrNoPepper = fmt.Errorf("keys need a pepper of at least %d characters in ONETRIP_KEY_PEPPER, the same for all replicas and kept out of the database; make one: openssl rand -hex 32", minPepperBytes)

// NewKeys needs the pepper, at least 16 bytes. Call Load, or hand it to Follow, before Verify.
func NewKeys(pool *pgxpool.Pool, pepper []byte) (*Keys, error) {
	if len(pepper) < minPepperBytes {
		return nil, ErrNoPepper
	}
	return &Keys{pool: pool, pepper: pepper, used: map[string]time.Time{}}, nil
}

// HasKeys reports whether any key was ever made. One that was revoked counts: taking
// the last key away must not open the service to everyone.
func HasKeys(ctx context.Context, pool *pgxpool.Pool) (yes bool, err error) {
	ctx, cancel := context.WithTimeout(ctx, queryTimeout)
	defer cancel()
	err = pool.QueryRow(ctx, "SELECT EXISTS (SELECT FROM api_keys)").Scan(&yes)
	return yes, pgError(err)
}

// Required reports, as HasKeys does but from memory, whether callers must present a key.
func (ks *Keys) Required() bool { return ks.ever.Load() }

const keyColumns = "id,name,scopes,created_at,rotated_at,revoked_at,last_used_at"

func keyFields(k *Key) []any {
	return []any{&k.ID, &k.Name, &k.Scopes, &k.Created, &k.Rotated, &k.Revoked, &k.LastUsed}
}

// querier is a pool, a connection or a transaction.
type querier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

// Load reads the keys.
func (ks *Keys) Load(ctx context.Context) error { return pgError(ks.load(ctx, ks.pool)) }

func (ks *Keys) load(ctx context.Context, q querier) error {
	ctx, cancel := context.WithTimeout(ctx, queryTimeout)
	defer cancel()
	rows, err := q.Query(ctx, "SELECT "+keyColumns+",hash FROM api_keys")
	if err != nil {
		return err
	}
	active := map[string]activeKey{}
	var k activeKey
	tag, err := pgx.ForEachRow(rows, append(keyFields(&k.Key), &k.hash), func() error {
		if k.Revoked == nil {
			active[k.ID] = k
		}
		k = activeKey{}
		return nil
	})
	if err != nil {
		return err
	}
	ks.active.Store(&active)
	ks.ever.Store(ks.ever.Load() || tag.RowsAffected() > 0)
	return nil
}

// Verify returns the key that a caller presents, false when it is none in force.
func (ks *Keys) Verify(presented string) (*Key, bool) {
	active := ks.active.Load()
	id, secret, ok := parseKey(presented)
	if !ok || active == nil {
		return nil, false
	}
	k, ok := (*active)[id] // the id is no secret
	if !ok || subtle.ConstantTimeCompare(k.hash, ks.hash(secret)) != 1 {
		return nil, false
	}
	ks.mu.Lock()
	ks.used[id] = time.Now()
	ks.mu.Unlock()
	return &k.Key, true
}

func (ks *Keys) hash(secret []byte) []byte {
	mac := hmac.New(sha256.New, ks.pepper)
	mac.Write(secret)
	return mac.Sum(nil)
}

const keyPrefix = "onetrip"

func parseKey(presented string) (id string, secret []byte, ok bool) {
	parts := strings.SplitN(presented, "_", 3) // the secret may hold the separator
	if len(parts) != 3 || parts[0] != keyPrefix {
		return "", nil, false
	}
	secret, err := base64.RawURLEncoding.DecodeString(parts[2])
	return parts[1], secret, err == nil && len(secret) == sha256.Size
}

// newSecret makes a secret and the text of a key that holds it.
func newSecret(id string) (secret []byte, text string) {
	secret = make([]byte, sha256.Size)
	_, _ = rand.Read(secret) // never fails, as crypto/rand says
	return secret, keyPrefix + "_" + id + "_" + base64.RawURLEncoding.EncodeToString(secret)
}

// randomID is 50 random bits, easy to read and type.
func randomID() string {
	var b [7]byte
	_, _ = rand.Read(b[:])
	return strings.ToLower(base32.StdEncoding.EncodeToString(b[:])[:10])
}

// Create makes a key. The text is shown here and never again.
func (ks *Keys) Create(ctx context.Context, name string, scopes []string) (key Key, text string, err error) {
	var found []catalog.Violation
	if name == "" || len(name) > 120 || strings.TrimSpace(name) != name {
		found = append(found, catalog.Violation{Pointer: "/name", Detail: "is empty, too long or has spaces around it; write 1 to 120 characters that say who uses the key"})
	}
	if len(scopes) == 0 {
		found = append(found, catalog.Violation{Pointer: "/scopes", Detail: "is empty; accepted: " + strings.Join(Scopes, ", ")})
	}
	for i, s := range scopes {
		if !slices.Contains(Scopes, s) {
			found = append(found, catalog.Violation{Pointer: fmt.Sprintf("/scopes/%d", i), Detail: fmt.Sprintf("%q is no scope%s; accepted: %s", s, near(s, Scopes), strings.Join(Scopes, ", "))})
		}
	}
	if len(found) > 0 {
		return Key{}, "", &catalog.InvalidError{What: "key", Violations: found}
	}
	id := randomID()
	secret, text := newSecret(id)
	key, err = ks.change(ctx, id, "INSERT INTO api_keys (id, hash, name, scopes) VALUES ($1, $2, $3, $4) RETURNING "+keyColumns, id, ks.hash(secret), name, scopes)
	return key, text, err
}

// Rotate gives a key a new secret; the old one stops at once, everywhere.
func (ks *Keys) Rotate(ctx context.Context, id string) (key Key, text string, err error) {
	secret, text := newSecret(id)
	key, err = ks.change(ctx, id, "UPDATE api_keys SET hash = $2, rotated_at = now() WHERE id = $1 AND revoked_at IS NULL RETURNING "+keyColumns, id, ks.hash(secret))
	return key, text, err
}

// Revoke ends a key for good, on every replica at once.
func (ks *Keys) Revoke(ctx context.Context, id string) (Key, error) {
	return ks.change(ctx, id, "UPDATE api_keys SET revoked_at = now() WHERE id = $1 AND revoked_at IS NULL RETURNING "+keyColumns, id)
}

// change runs a statement that returns one key, and tells every replica.
func (ks *Keys) change(ctx context.Context, id, sql string, args ...any) (key Key, err error) {
	ctx, cancel := context.WithTimeout(ctx, queryTimeout)
	defer cancel()
	err = pgx.BeginFunc(ctx, ks.pool, func(tx pgx.Tx) error {
		if err := tx.QueryRow(ctx, sql, args...).Scan(keyFields(&key)...); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, "SELECT pg_notify($1, $2)", keysChannel, id)
		return err
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return Key{}, &catalog.NotFoundError{What: "key", ID: id, Where: "is in force; keys list shows those that are"}
	}
	return key, pgError(err)
}

// List lists all keys, revoked ones too, newest first.
func (ks *Keys) List(ctx context.Context) ([]Key, error) {
	rows, err := ks.pool.Query(ctx, "SELECT "+keyColumns+" FROM api_keys ORDER BY created_at DESC, id")
	if err != nil {
		return nil, pgError(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (k Key, err error) {
		return k, row.Scan(keyFields(&k)...)
	})
	return list, pgError(err)
}

// FlushUsed writes when keys were last used. Call it now and then, and at the end.
func (ks *Keys) FlushUsed(ctx context.Context) error {
	ks.mu.Lock()
	used := ks.used
	ks.used = map[string]time.Time{}
	ks.mu.Unlock()
	if len(used) == 0 {
		return nil
	}
	ids := slices.Collect(maps.Keys(used))
	times := make([]time.Time, len(ids))
	for i, id := range ids {
		times[i] = used[id]
	}
	_, err := ks.pool.Exec(ctx, `UPDATE api_keys k SET last_used_at = greatest(k.last_used_at, u.at)
		FROM unnest($1::text[], $2::timestamptz[]) AS u (id, at) WHERE k.id = u.id`, ids, times)
	if err != nil {
		ks.mu.Lock()
		for id, at := range used { // keep them for the next time
			if ks.used[id].Before(at) {
				ks.used[id] = at
			}
		}
		ks.mu.Unlock()
	}
	return pgError(err)
}
