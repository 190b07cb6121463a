package store

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Kits keeps saved kits in Postgres. Errors are *kit.UnknownCodeError,
// catalog.ErrPreconditionFailed, catalog.ErrKeyReused, catalog.ErrUnavailable, and those
// of the functions given.
type Kits struct{ Pool *pgxpool.Pool }

const savedColumns = "code,status,saved_at,changed_at,saved_by,coalesce(vehicle_id,''),vehicle,carburetor_sku,verdict,total_minor,currency,catalogue_revision"

func savedFields(sv *kit.SavedSummary) []any {
	return []any{&sv.Code, &sv.Status, &sv.SavedAt, &sv.ChangedAt, &sv.SavedBy, &sv.VehicleID, &sv.Vehicle, &sv.CarburetorSKU, &sv.Verdict,
		&sv.Total.AmountMinor, &sv.Total.Currency, &sv.CatalogueRevision}
}

// Save keeps what make makes, once for each key of an actor.
func (ks *Kits) Save(ctx context.Context, once kit.Once, make func(context.Context) (*kit.Saved, error)) (*kit.Saved, error) {
	var saved *kit.Saved
	err := within(ctx, writeTimeout, func(ctx context.Context) (err error) {
		if saved, err = ks.repeated(ctx, once); err != nil || saved != nil {
			return err
		}
		fresh, err := make(ctx)
		if err != nil {
			return err
		}
		for saved == nil {
			if saved, err = ks.insert(ctx, once, fresh); err != nil || saved != nil {
				return err
			}
			// The key was used meanwhile, or, next to never, the code is taken.
			if saved, err = ks.repeated(ctx, once); err != nil {
				return err
			}
		}
		return nil
	})
	return saved, err
}

// repeated is the kit that a request saved when it came before, nil when it did not.
func (ks *Kits) repeated(ctx context.Context, once kit.Once) (*kit.Saved, error) {
	if once.Key == "" {
		return nil, nil
	}
	var sum []byte
	saved, err := readSaved(ctx, ks.Pool, "WHERE actor = $1 AND idempotency_key = $2", []any{once.Actor, once.Key}, &sum)
	if err != nil || saved == nil {
		return nil, err
	}
	if !bytes.Equal(sum, once.Sum[:]) {
		return nil, catalog.ErrKeyReused
	}
	return saved.AsSaved()
}

// insert keeps a kit under a new code. It returns nil where code or key is taken; where a
// transaction with that key is at work, it waits for that to end.
func (ks *Kits) insert(ctx context.Context, once kit.Once, fresh *kit.Saved) (*kit.Saved, error) {
	sv := *fresh
	code, err := kit.NewCode(rand.Reader)
	if err != nil {
		return nil, err
	}
	sv.Begin(code, now())
	history, err := json.Marshal(sv.History)
	if err != nil {
		return nil, err
	}
	tag, err := ks.Pool.Exec(ctx, `INSERT INTO kits (code, saved_at, changed_at, actor, saved_by, status, vehicle_id, vehicle, carburetor_sku, verdict,
			total_minor, currency, catalogue_revision, history, request, kit, idempotency_key, request_sha256)
		VALUES ($1, $2, $2, $3, $4, $5, nullif($6, ''), $7, $8, $9, $10, $11, $12, $13, $14, $15, nullif($16, ''), $17) ON CONFLICT DO NOTHING`,
		sv.Code, sv.SavedAt, once.Actor, sv.SavedBy, sv.Status, sv.VehicleID, sv.Vehicle, sv.CarburetorSKU, sv.Verdict,
		sv.Total.AmountMinor, sv.Total.Currency, sv.CatalogueRevision, history, []byte(sv.Request), []byte(sv.Kit), once.Key, once.Sum[:])
	if err != nil || tag.RowsAffected() == 0 {
		return nil, err
	}
	return &sv, nil
}

// now is the time as Postgres keeps it.
func now() time.Time { return time.Now().UTC().Truncate(time.Microsecond) }

// readSaved reads one kit, nil when there is none; more is scanned from request_sha256.
func readSaved(ctx context.Context, q querier, where string, args []any, sum *[]byte) (*kit.Saved, error) {
	rows, err := q.Query(ctx, "SELECT "+savedColumns+",history,request,kit,request_sha256 FROM kits "+where, args...)
	if err != nil {
		return nil, err
	}
	sv, err := pgx.CollectExactlyOneRow(rows, func(row pgx.CollectableRow) (*kit.Saved, error) {
		sv := &kit.Saved{}
		return sv, row.Scan(append(savedFields(&sv.SavedSummary), &sv.History, (*[]byte)(&sv.Request), (*[]byte)(&sv.Kit), sum)...)
	})
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	sv.SavedAt, sv.ChangedAt = sv.SavedAt.UTC(), sv.ChangedAt.UTC()
	sv.Marks = kit.MarksOf(sv.History)
	return sv, nil
}

// Find returns the kit under a code.
func (ks *Kits) Find(ctx context.Context, code string) (*kit.Saved, error) {
	var sv *kit.Saved
	err := within(ctx, queryTimeout, func(ctx context.Context) (err error) {
		sv, err = findSaved(ctx, ks.Pool, "", code)
		return err
	})
	return sv, err
}

func findSaved(ctx context.Context, q querier, lock, code string) (*kit.Saved, error) {
	var sum []byte
	sv, err := readSaved(ctx, q, "WHERE code = $1"+lock, []any{code}, &sum)
	if err == nil && sv == nil {
		err = &kit.UnknownCodeError{Code: code}
	}
	return sv, err
}

// Change lets change work on the kit under a code while nobody else does, and keeps what
// it leaves: marks and history.
func (ks *Kits) Change(ctx context.Context, code string, pre catalog.Precondition, change func(ctx context.Context, sv *kit.Saved, now time.Time) error) (*kit.Saved, error) {
	var sv *kit.Saved
	err := within(ctx, writeTimeout, func(ctx context.Context) error {
		return pgx.BeginFunc(ctx, ks.Pool, func(tx pgx.Tx) (err error) {
			if sv, err = findSaved(ctx, tx, " FOR UPDATE", code); err != nil {
				return err
			}
			if !pre.Holds(catalog.ETag(sv)) {
				return catalog.ErrPreconditionFailed
			}
			if err := change(ctx, sv, now()); err != nil {
				return err
			}
			history, err := json.Marshal(sv.History)
			if err != nil {
				return err
			}
			_, err = tx.Exec(ctx, "UPDATE kits SET status = $2, changed_at = $3, history = $4 WHERE code = $1", code, sv.Status, sv.ChangedAt, history)
			return err
		})
	})
	return sv, err
}

// List returns the kits that a filter asks for.
func (ks *Kits) List(ctx context.Context, f kit.SavedFilter) ([]kit.SavedSummary, error) {
	sql, args := "SELECT "+savedColumns+" FROM kits WHERE true", []any{}
	and := func(condition string, values ...any) { // only what is asked for, so that an index can serve
		for _, v := range values {
			args = append(args, v)
			condition = strings.Replace(condition, "?", fmt.Sprintf("$%d", len(args)), 1)
		}
		sql += condition
	}
	if f.Status != "" {
		and(" AND status = ?", f.Status)
	}
	if f.VehicleID != "" {
		and(" AND vehicle_id = ?", f.VehicleID)
	}
	for _, word := range f.Words {
		and(" AND strpos(lower(coalesce(vehicle_id, '') || ' ' || vehicle), lower(?)) > 0", word)
	}
	if !f.From.IsZero() {
		and(" AND saved_at >= ?", f.From)
	}
	if !f.Before.IsZero() {
		and(" AND saved_at < ?", f.Before)
	}
	if f.After != nil {
		and(" AND (saved_at, code) < (?, ?)", f.After.SavedAt, f.After.Code)
	}
	and(" ORDER BY saved_at DESC, code DESC LIMIT ?", f.Limit)
	var list []kit.SavedSummary
	err := within(ctx, queryTimeout, func(ctx context.Context) error {
		rows, err := ks.Pool.Query(ctx, sql, args...)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (sv kit.SavedSummary, err error) {
			err = row.Scan(savedFields(&sv)...)
			sv.SavedAt, sv.ChangedAt = sv.SavedAt.UTC(), sv.ChangedAt.UTC()
			return sv, err
		})
		return err
	})
	return list, err
}
