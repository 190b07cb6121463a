package httpapi

import (
	"context"
	"io"
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// Writer changes the catalogue, for an actor that goes into the audit. Its errors are
// those of package catalog.
type Writer interface {
	PutVehicle(ctx context.Context, actor string, v *catalog.Vehicle, pre catalog.Precondition) (catalog.Written, error)
	PutCarburetor(ctx context.Context, actor string, k *catalog.Carburetor, pre catalog.Precondition) (catalog.Written, error)
	PutPart(ctx context.Context, actor string, p *catalog.Part, pre catalog.Precondition) (catalog.Written, error)
	PutBundle(ctx context.Context, actor string, b *catalog.Bundle, pre catalog.Precondition) (catalog.Written, error)
	PutStock(ctx context.Context, actor, sku string, levels []catalog.StockLevel, pre catalog.Precondition) (catalog.Written, error)
	DeleteVehicle(ctx context.Context, actor, id string, pre catalog.Precondition) (catalog.Written, error)
	DeleteCarburetor(ctx context.Context, actor, sku string, pre catalog.Precondition) (catalog.Written, error)
	DeletePart(ctx context.Context, actor, sku string, pre catalog.Precondition) (catalog.Written, error)
	DeleteBundle(ctx context.Context, actor, sku string, pre catalog.Precondition) (catalog.Written, error)
	Import(ctx context.Context, req catalog.ImportRequest, body io.Reader) (catalog.Import, error)
	FindImport(ctx context.Context, id string) (catalog.Import, error)
	ImportProblems(ctx context.Context, id string, yield func(catalog.ImportProblem) error) error
	RuleWriter
}

// writable is the writer, or the problem that there is none.
func (s *server) writable() (Writer, error) {
	if s.writer == nil {
		return nil, newProblem(ProblemTypeNoDatabase, "the catalogue comes from files and is not changed by this service; attach a Postgres: "+
			"set DATABASE_URL, run the program's migrate and import DIR (such as db/seed), and serve with the same DATABASE_URL")
	}
	return s.writer, nil
}

// writableWhen is the writer, and what a request asks to hold before it writes.
func (s *server) writableWhen(c echo.Context) (w Writer, pre catalog.Precondition, err error) {
	if w, err = s.writable(); err == nil {
		pre, err = precondition(c.Request())
	}
	return w, pre, err
}

// put runs a PUT of one thing. own is the thing's id and the id's name in the body.
func put[T any](s *server, c echo.Context, id string, decode func([]byte) (*T, error), own func(*T) (is *string, name string),
	write func(Writer, context.Context, string, *T, catalog.Precondition) (catalog.Written, error)) error {
	w, pre, err := s.writableWhen(c)
	if err != nil {
		return err
	}
	return s.withBody(c, func(body []byte) error {
		thing, err := decode(body)
		if err != nil {
			return err
		}
		switch is, name := own(thing); *is {
		case id:
		case "": // the contract lets a vehicle go without
			*is = id
		default:
			return invalid([]catalog.Violation{{Pointer: "/" + name, Detail: "is " + strconv.Quote(clip(*is)) + ", the path says " + strconv.Quote(clip(id)) + "; make them the same, or write to the other path"}})
		}
		written, err := write(w, c.Request().Context(), caller(c).ID, thing, pre)
		if err != nil {
			return err
		}
		return answerWritten(c, written)
	})
}

// remove runs what has no body: a DELETE of one thing.
func remove(s *server, c echo.Context, id string, write func(Writer, context.Context, string, string, catalog.Precondition) (catalog.Written, error)) error {
	w, pre, err := s.writableWhen(c)
	if err != nil {
		return err
	}
	written, err := write(w, c.Request().Context(), caller(c).ID, id, pre)
	if err != nil {
		return err
	}
	return answerWritten(c, written)
}

func answerWritten(c echo.Context, written catalog.Written) error {
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, noStore)
	if written.ETag != "" {
		h.Set("ETag", `"`+written.ETag+`"`)
	}
	status := http.StatusOK
	if written.Created {
		status = http.StatusCreated
	}
	return writeJSON(c, status, echo.MIMEApplicationJSON, Written{CatalogueRevision: written.Revision})
}

// entityTag is one member of If-Match (RFC 9110 section 8.8.3).
var entityTag = regexp.MustCompile(`^(W/)?"([\x21\x23-\x7e\x80-\xff]*)"$`)

// precondition reads If-Match and If-None-Match of a write. One of them must be there.
func precondition(r *http.Request) (pre catalog.Precondition, err error) {
	match, noneMatch := r.Header.Values("If-Match"), r.Header.Values("If-None-Match")
	if len(match) == 0 && (len(noneMatch) == 0 || r.Method != http.MethodPut) {
		create := ""
		if r.Method == http.MethodPut {
			create = ", If-None-Match: * to create what is not there yet"
		}
		return pre, newProblem(ProblemTypePreconditionRequired, "say which state you write over: send If-Match with the ETag that GET answered%s, or If-Match: * for whatever is there", create)
	}
	if len(noneMatch) > 0 {
		if len(noneMatch) > 1 || strings.TrimSpace(noneMatch[0]) != "*" {
			return pre, badParameter("If-None-Match", "is %s; a write takes * alone, which stands for creating", strconv.Quote(clip(strings.Join(noneMatch, ", "))))
		}
		pre.IfNoneMatch = true
	}
	for _, header := range match {
		for one := range strings.SplitSeq(header, ",") {
			one = strings.TrimSpace(one)
			if one == "*" {
				pre.IfMatch = append(pre.IfMatch, one)
				continue
			}
			parts := entityTag.FindStringSubmatch(one)
			if parts == nil {
				return pre, badParameter("If-Match", `is %s; send the ETag as GET answered it, in its double quotes, or *`, strconv.Quote(clip(header)))
			}
			if parts[1] != "" {
				parts[2] = "" // a weak tag matches nothing here (RFC 9110 section 13.1.1)
			}
			pre.IfMatch = append(pre.IfMatch, parts[2])
		}
	}
	return pre, nil
}
