package httpapi

import (
	"bytes"
	"context"
	"errors"
	"net/http"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/coverage"
	"onetrip/internal/sheet"
)

// Coverage works reports out in the background. Its errors are those of package catalog,
// and coverage.ErrBusy.
type Coverage interface {
	Start(ctx context.Context, q coverage.Question) (coverage.Report, error)
	Report(ctx context.Context, id string) (coverage.Report, error)
	Cancel(ctx context.Context, id string) (coverage.Report, error)
}

// CreateCoverage serves POST /v1/coverage.
func (s *server) CreateCoverage(c echo.Context) error {
	if _, err := s.snapshot(); err != nil {
		return err
	}
	return s.withBody(c, func(body []byte) error {
		q, err := decode(body, schemaNamed("CoverageQuestion"), func(*coverage.Question) []catalog.Violation { return nil })
		if err != nil {
			return err
		}
		r, err := s.coverage.Start(c.Request().Context(), *q)
		if errors.Is(err, coverage.ErrBusy) {
			return newProblem(ProblemTypeBusy, "%v", coverage.ErrBusy)
		}
		if err != nil {
			return err
		}
		h := c.Response().Header()
		h.Set(echo.HeaderLocation, "/v1/coverage/"+r.ID)
		h.Set(echo.HeaderCacheControl, noStore)
		return writeJSON(c, http.StatusAccepted, echo.MIMEApplicationJSON, &r)
	})
}

// GetCoverage serves GET /v1/coverage/{id}.
func (s *server) GetCoverage(c echo.Context, id CoverageID) error {
	r, err := s.coverage.Report(c.Request().Context(), id)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	h := c.Response().Header()
	switch c.Get(mediaTypeKey) {
	case mimeCSV:
		switch {
		case r.Answer != nil:
		case r.Status == coverage.Running:
			return newProblem(ProblemTypeNotDone, "the report is running; its tables come when it is done")
		default:
			return newProblem(ProblemTypeNotDone, "the report is %s and has no tables; ask for it anew with POST /v1/coverage", r.Status)
		}
		if err := sheet.CoverageCSV(&b, r.Answer); err != nil {
			return err
		}
		h.Set(echo.HeaderContentDisposition, `attachment; filename="coverage.csv"`)
		return writeTagged(c, mimeCSVFile, hashOf(b.Bytes()), b.Bytes())
	case echo.MIMEApplicationJSON:
		return writeOne(c, "", func(b *buffer) error { return b.value(&r) })
	}
	if err := sheet.Coverage(&b, &r); err != nil {
		return err
	}
	h.Set(echo.HeaderContentSecurityPolicy, sheetPolicy)
	return writeTagged(c, mimeHTML, hashOf(b.Bytes()), b.Bytes())
}

// CancelCoverage serves DELETE /v1/coverage/{id}.
func (s *server) CancelCoverage(c echo.Context, id CoverageID) error {
	r, err := s.coverage.Cancel(c.Request().Context(), id)
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, noStore)
	return writeJSON(c, http.StatusOK, echo.MIMEApplicationJSON, &r)
}
