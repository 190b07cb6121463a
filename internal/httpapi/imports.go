package httpapi

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

const (
	mimeCSV     = "text/csv"
	mimeCSVFile = mimeCSV + "; charset=utf-8; header=present"
)

// importTimeout bounds an import, sending and storing together.
const importTimeout = 15 * time.Minute

// CreateImport serves POST /v1/imports.
func (s *server) CreateImport(c echo.Context, p CreateImportParams) error {
	scope := "catalogue"
	if p.Kind == catalog.ImportStock {
		scope = "stock"
	}
	if !caller(c).Allows(scope) {
		return insufficientScope(c, []string{scope})
	}
	w, err := s.writable()
	if err != nil {
		return err
	}
	req := catalog.ImportRequest{Actor: caller(c).ID, Kind: string(p.Kind), Mode: catalog.ImportAtomic}
	if p.Mode != nil {
		req.Mode = string(*p.Mode)
	}
	if p.DryRun != nil {
		req.DryRun = *p.DryRun
	}
	if req.IdempotencyKey, err = idempotencyKey(p.IdempotencyKey); err != nil {
		return err
	}
	if err := checkContentType(c.Request(), mimeCSV, "", "gzip"); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), importTimeout)
	defer cancel()
	conn := http.NewResponseController(c.Response())
	_ = conn.SetWriteDeadline(time.Now().Add(importTimeout + stallTimeout)) // before the server's own ends
	body := &fileBody{from: c.Request().Body, conn: conn, most: s.maxImportBytes}
	defer body.end()
	file := io.Reader(body)
	if strings.EqualFold(c.Request().Header.Get(echo.HeaderContentEncoding), "gzip") {
		packed, err := gzip.NewReader(body)
		if err != nil {
			return body.broken(err)
		}
		file = &fileBody{from: packed, most: s.maxImportBytes}
	}
	done, err := w.Import(ctx, req, file)
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderLocation, "/v1/imports/"+done.ID)
	if done.State != "rejected" {
		return s.writeImport(c, http.StatusCreated, echo.MIMEApplicationJSON, nil, w, done)
	}
	problem, err := rejection(ctx, w, done)
	if err != nil {
		return err
	}
	problem.place(c)
	return s.writeImport(c, problem.Status, "application/problem+json", problem, w, done)
}

// GetImport serves GET /v1/imports/{id}.
func (s *server) GetImport(c echo.Context, id ImportID) error {
	w, err := s.writable()
	if err != nil {
		return err
	}
	done, err := w.FindImport(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return s.writeImport(c, http.StatusOK, echo.MIMEApplicationJSON, nil, w, done)
}

// rejection is the problem of an import that changed nothing. It names the first
// thing wrong; writeImport adds the list.
func rejection(ctx context.Context, w Writer, done catalog.Import) (*Problem, error) {
	enough := errors.New("the first is enough")
	var first catalog.ImportProblem
	err := w.ImportProblems(ctx, done.ID, func(p catalog.ImportProblem) error {
		first = p
		return enough
	})
	if !errors.Is(err, enough) {
		return nil, fmt.Errorf("import %s was rejected without a problem: %w", done.ID, err)
	}
	where := fmt.Sprintf("line %d", first.Line)
	if first.Column != "" {
		where += ", " + first.Column
	}
	more := ""
	if n := done.Bad - 1; n > 0 {
		more = fmt.Sprintf(" (and %d more rows, see import.problems)", n)
	}
	if done.Found > catalog.MostImportProblems {
		more = fmt.Sprintf(" (and %d more rows; import.problems lists the first %d of %d things wrong)", done.Bad-1, catalog.MostImportProblems, done.Found)
	}
	return newProblem(ProblemTypeImportRejected, "nothing was changed; %s: %s%s", where, first.Detail, more), nil
}

// writeImport writes the outcome with the problems that are listed, as they come from the
// database; inside of problem, when there is one.
func (s *server) writeImport(c echo.Context, status int, mediaType string, problem *Problem, w Writer, done catalog.Import) error {
	b := takeBuffer()
	defer b.release()
	end := "}\n"
	if problem != nil {
		if err := b.value(problem); err != nil {
			return err
		}
		b.Truncate(b.Len() - 1) // the closing brace
		b.WriteString(`,"import":`)
		end = "}}\n"
	}
	if err := b.value(done); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1)
	b.WriteString(`,"problems":[`)
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, noStore)
	h.Set(echo.HeaderContentType, mediaType)
	out := &steadyWriter{c.Response(), http.NewResponseController(c.Response())}
	flush := func() error {
		if !c.Response().Committed {
			c.Response().WriteHeader(status)
		}
		if c.Request().Method == http.MethodHead {
			b.Reset()
		}
		_, err := b.WriteTo(out)
		return err
	}
	some := false
	err := w.ImportProblems(c.Request().Context(), done.ID, func(p catalog.ImportProblem) error {
		if some {
			b.WriteByte(',')
		}
		some = true
		if err := b.value(p); err != nil || b.Len() < streamBytes {
			return err
		}
		return flush()
	})
	if err == nil {
		b.WriteString("]" + end)
		err = flush()
	}
	if err != nil && c.Response().Committed {
		s.cut(c, err)
	}
	return err
}

// idempotencyKey holds a key against the contract, which is not asked of headers; "" is
// for none.
func idempotencyKey(key *IdempotencyKey) (string, error) {
	if key == nil {
		return "", nil
	}
	if *key == "" || len(*key) > 200 || strings.ContainsFunc(*key, func(r rune) bool { return r < '!' || r > '~' }) {
		return "", badParameter("Idempotency-Key", "is not 1 to 200 visible ASCII characters; take a UUID, or the name and day of the file")
	}
	return *key, nil
}

// fileBody is a body read to its end in steps: it gives up on a sender that stalls and
// on a file that is too long, and tells a broken file from a broken database.
type fileBody struct {
	from io.Reader
	conn *http.ResponseController // nil for a layer inside
	most int64
	read int64
}

// Read implements io.Reader. Its errors but io.EOF are Problems.
func (b *fileBody) Read(p []byte) (int, error) {
	b.deadline(time.Now().Add(stallTimeout))
	n, err := b.from.Read(p)
	b.read += int64(n)
	switch {
	case b.read > b.most:
		return n, newProblem(ProblemTypeBodyTooLarge, "the file is longer than %d bytes, the most this service reads; send it in parts", b.most)
	case err == io.EOF:
		b.deadline(time.Time{}) // the server waits for the sender to leave; that is no stalling
	case err != nil:
		return n, b.broken(err)
	}
	return n, err
}

func (b *fileBody) broken(err error) error {
	var problem *Problem
	switch {
	case errors.As(err, &problem):
		return problem
	case errors.Is(err, gzip.ErrHeader), b.conn == nil:
		return newProblem(ProblemTypeUnreadableBody, "Content-Encoding is gzip, but the body is not, or is cut off; send it again")
	}
	return newProblem(ProblemTypeUnreadableBody, "the body could not be read to its end; send it again")
}

// end bounds what the server still reads of a body that was refused.
func (b *fileBody) end() { b.deadline(time.Now().Add(stallTimeout)) }

func (b *fileBody) deadline(at time.Time) {
	if b.conn != nil {
		_ = b.conn.SetReadDeadline(at) // a test's recorder has none
	}
}
