package httpapi

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/sheet"
)

// defaultKitTime bounds the search for a kit: half of what storing one may take. Kits take
// milliseconds; some of fewest lines, out of a million parts, longer.
const defaultKitTime = 5 * time.Second

// inTime is the context of the search for a kit: at its end the best found by then is the
// answer.
func (s *server) inTime(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithTimeout(ctx, s.kitTime)
}

// resolve finds a kit in that time, and counts it.
func (s *server) resolve(ctx context.Context, snap *kit.Snapshot, r *kit.Request) (*kit.Kit, error) {
	ctx, cancel := s.inTime(ctx)
	defer cancel()
	k, err := kit.Resolve(ctx, snap, r)
	if err == nil {
		s.metrics.kit(k)
	}
	return k, err
}

// ResolveKit serves POST /v1/kits/resolve.
func (s *server) ResolveKit(c echo.Context) error {
	return answer(s, c, DecodeResolve, func(snap *kit.Snapshot, r *kit.Request) (*kit.Kit, error) {
		return s.resolve(c.Request().Context(), snap, r)
	}, func(c echo.Context, k *kit.Kit) error {
		c.Response().Header().Set(echo.HeaderVary, echo.HeaderAccept)
		if c.Get(mediaTypeKey) == echo.MIMEApplicationJSON {
			return asJSON(c, k)
		}
		mediaType, body, err := printed(c, k, sheet.Options{Asked: time.Now()})
		if err != nil {
			return err
		}
		return writeBytes(c, http.StatusOK, mediaType, body)
	})
}

// ResolveCatalogueKit serves GET /v1/kits/resolve.
func (s *server) ResolveCatalogueKit(c echo.Context, p ResolveCatalogueKitParams) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	k, err := s.resolve(c.Request().Context(), snap, &kit.Request{VehicleID: p.VehicleID, CarburetorSKU: p.CarburetorSKU})
	var unknown *catalog.NotFoundError
	var wrong *catalog.InvalidError
	switch {
	case errors.As(err, &unknown):
		return badParameter(strings.TrimPrefix(unknown.Pointer, "/"), "%v", unknown)
	case errors.As(err, &wrong): // both are unknown
		faults := make([]Fault, len(wrong.Violations))
		for i, v := range wrong.Violations {
			name := strings.TrimPrefix(v.Pointer, "/")
			faults[i] = Fault{Parameter: &name, Detail: v.Detail}
		}
		return withFaults(ProblemTypeBadParameter, faults)
	case err != nil:
		return err
	}
	if c.Get(mediaTypeKey) == echo.MIMEApplicationJSON {
		return writeOne(c, "", func(b *buffer) error { return b.value(k) })
	}
	mediaType, body, err := printed(c, k, sheet.Options{Asked: time.Now()})
	if err != nil {
		return err
	}
	return writeTagged(c, mediaType, hashOf(body), body)
}

// sheetPolicy keeps a page that loads nothing from loading anything.
const sheetPolicy = pagePolicy + "style-src 'unsafe-inline'"

// printed is a kit on paper, the sheet or the pick list as the caller prefers, with its
// Content-Type. It sets the header fields that go with it.
func printed(c echo.Context, k *kit.Kit, o sheet.Options) (mediaType string, body []byte, err error) {
	var b bytes.Buffer
	h := c.Response().Header()
	if c.Get(mediaTypeKey) == mimeCSV {
		h.Set(echo.HeaderContentDisposition, `attachment; filename="pick-list.csv"`)
		err = sheet.CSV(&b, k, o.Lines)
		return mimeCSVFile, b.Bytes(), err
	}
	h.Set(echo.HeaderContentSecurityPolicy, sheetPolicy)
	err = sheet.HTML(&b, k, o)
	return mimeHTML, b.Bytes(), err
}
