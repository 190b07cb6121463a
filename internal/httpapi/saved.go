package httpapi

import (
	"context"
	"crypto/sha256"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/sheet"
)

// Kits keeps saved kits. Its errors are *kit.UnknownCodeError, those of package catalog
// and those of the functions it is given.
type Kits interface {
	Save(ctx context.Context, once kit.Once, make func(context.Context) (*kit.Saved, error)) (*kit.Saved, error)
	Find(ctx context.Context, code string) (*kit.Saved, error)
	Change(ctx context.Context, code string, pre catalog.Precondition, change func(ctx context.Context, sv *kit.Saved, now time.Time) error) (*kit.Saved, error)
	List(ctx context.Context, f kit.SavedFilter) ([]kit.SavedSummary, error)
}

// SaveKit serves POST /v1/kits.
func (s *server) SaveKit(c echo.Context, p SaveKitParams) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	once := kit.Once{Actor: caller(c).ID}
	if once.Key, err = idempotencyKey(p.IdempotencyKey); err != nil {
		return err
	}
	return s.withBody(c, func(body []byte) error {
		once.Sum = sha256.Sum256(body)
		question, err := DecodeResolve(body)
		if err != nil {
			return err
		}
		saved, err := s.kits.Save(c.Request().Context(), once, func(ctx context.Context) (*kit.Saved, error) {
			k, err := s.resolve(ctx, snap, question)
			if err != nil {
				return nil, err
			}
			return kit.NewSaved(question, k, caller(c).Name)
		})
		if err != nil {
			return err
		}
		c.Response().Header().Set(echo.HeaderLocation, "/v1/kits/"+saved.Code)
		return writeSaved(c, http.StatusCreated, saved)
	})
}

// writeSaved answers a write with the kit that it leaves.
func writeSaved(c echo.Context, status int, saved *kit.Saved) error {
	h := c.Response().Header()
	h.Set("ETag", `"`+catalog.ETag(saved)+`"`)
	h.Set(echo.HeaderCacheControl, noStore)
	return writeJSON(c, status, echo.MIMEApplicationJSON, saved)
}

// GetKit serves GET /v1/kits/{code}.
func (s *server) GetKit(c echo.Context, code KitCode) error {
	saved, err := s.savedKit(c, code)
	if err != nil {
		return err
	}
	return writeOne(c, catalog.ETag(saved), func(b *buffer) error { return b.value(saved) })
}

// savedKit finds the kit under a code as someone wrote it.
func (s *server) savedKit(c echo.Context, code string) (*kit.Saved, error) {
	code, err := kit.ReadCode(code)
	if err != nil {
		return nil, err
	}
	return s.kits.Find(c.Request().Context(), code)
}

// MarkKit serves PATCH /v1/kits/{code}.
func (s *server) MarkKit(c echo.Context, code KitCode) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	if code, err = kit.ReadCode(code); err != nil {
		return err
	}
	pre, err := precondition(c.Request())
	if err != nil {
		return err
	}
	return s.withText(c, "application/merge-patch+json", func(body []byte) error {
		patch, err := decodePatch(body)
		if err != nil {
			return err
		}
		saved, err := s.kits.Change(c.Request().Context(), code, pre, func(ctx context.Context, sv *kit.Saved, now time.Time) error {
			return sv.Mark(ctx, snap, patch, caller(c).Name, now)
		})
		if err != nil {
			return err
		}
		return writeSaved(c, http.StatusOK, saved)
	})
}

// GetKitChanges serves GET /v1/kits/{code}/changes.
func (s *server) GetKitChanges(c echo.Context, code KitCode) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	saved, err := s.savedKit(c, code)
	if err != nil {
		return err
	}
	question, before, err := saved.Read()
	if err != nil {
		return err
	}
	ctx, cancel := s.inTime(c.Request().Context())
	defer cancel()
	changes, err := kit.Since(ctx, snap, question, before)
	if err != nil {
		return err
	}
	return writeOne(c, "", func(b *buffer) error {
		return b.value(KitChanges{Code: saved.Code, SavedRevision: saved.CatalogueRevision, CatalogueRevision: snap.Catalog.Revision, Changes: changes})
	})
}

// GetKitSheet serves GET /v1/kits/{code}/sheet.
func (s *server) GetKitSheet(c echo.Context, code KitCode) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	saved, err := s.savedKit(c, code)
	if err != nil {
		return err
	}
	_, k, err := saved.Read()
	if err != nil {
		return err
	}
	o := sheet.Options{Code: saved.Code, Saved: saved.SavedAt, Lines: saved.AtTheCounter(snap, k)}
	if saved.Notice != "" {
		o.Notes = []string{saved.Notice}
	}
	mediaType, body, err := printed(c, k, o)
	if err != nil {
		return err
	}
	return writeTagged(c, mediaType, hashOf(body), body)
}

// ListKits serves GET /v1/kits.
func (s *server) ListKits(c echo.Context, p ListKitsParams) error {
	f := kit.SavedFilter{Words: words(p.Q), Limit: pageLimit(p.Limit) + 1} // one more tells whether there is a next page
	if p.Status != nil {
		f.Status = *p.Status
	}
	if p.VehicleID != nil {
		f.VehicleID = *p.VehicleID
	}
	if p.SavedFrom != nil {
		f.From = *p.SavedFrom
	}
	if p.SavedBefore != nil {
		f.Before = *p.SavedBefore
	}
	if p.Cursor != nil {
		after, err := readCursor(*p.Cursor, questionOf(c))
		if err != nil {
			return err
		}
		at, code, _ := strings.Cut(after, " ")
		f.After = &kit.SavedSummary{Code: code}
		if f.After.SavedAt, err = time.Parse(time.RFC3339Nano, at); err != nil {
			return badCursor("is not a cursor of this list; take next_cursor of the page before, or leave it out")
		}
	}
	kits, err := s.kits.List(c.Request().Context(), f)
	if err != nil {
		return err
	}
	return writeItems(c, pageLimit(p.Limit), slices.Values(kits), func(kit.SavedSummary) bool { return true },
		func(sv kit.SavedSummary) string { return sv.SavedAt.Format(time.RFC3339Nano) + " " + sv.Code },
		func(b *buffer, sv kit.SavedSummary) error { return b.value(sv) })
}
