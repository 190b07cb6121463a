package httpapi

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

// Error is the problem in one line.
func (p *Problem) Error() string { return p.Detail }

// kinds are title and status of every type of problem.
var kinds = map[ProblemType]struct {
	status int
	title  string
}{
	ProblemTypeMalformedJSON:        {http.StatusBadRequest, "The body is not JSON"},
	ProblemTypeUnreadableBody:       {http.StatusBadRequest, "The body cannot be read"},
	ProblemTypeBadParameter:         {http.StatusBadRequest, "A parameter or header is wrong"},
	ProblemTypeBadCursor:            {http.StatusBadRequest, "The cursor is wrong"},
	ProblemTypeUnauthorized:         {http.StatusUnauthorized, "A key is needed"},
	ProblemTypeForbidden:            {http.StatusForbidden, "The key is not allowed to do this"},
	ProblemTypeNoSuchPath:           {http.StatusNotFound, "There is no such path"},
	ProblemTypeNotFound:             {http.StatusNotFound, "There is no such thing"},
	ProblemTypeUnknownCode:          {http.StatusNotFound, "No kit has this code"},
	ProblemTypeMistypedCode:         {http.StatusNotFound, "The code is mistyped"},
	ProblemTypeMethodNotAllowed:     {http.StatusMethodNotAllowed, "The path does not have this method"},
	ProblemTypeReferenced:           {http.StatusConflict, "Others still name it"},
	ProblemTypeNotDone:              {http.StatusConflict, "The report is not done"},
	ProblemTypePreconditionFailed:   {http.StatusPreconditionFailed, "It is not in the state the request names"},
	ProblemTypePreconditionRequired: {http.StatusPreconditionRequired, "The request does not say which state it writes over"},
	ProblemTypeNotAcceptable:        {http.StatusNotAcceptable, "No acceptable media type"},
	ProblemTypeBodyTooLarge:         {http.StatusRequestEntityTooLarge, "The body is too large"},
	ProblemTypeWrongContentType:     {http.StatusUnsupportedMediaType, "The body has the wrong content type"},
	ProblemTypeInvalid:              {http.StatusUnprocessableEntity, "The body is not valid"},
	ProblemTypeImportRejected:       {http.StatusUnprocessableEntity, "The file has rows that are wrong"},
	ProblemTypeKeyReused:            {http.StatusUnprocessableEntity, "The idempotency key was used for another request"},
	ProblemTypeTooManyRequests:      {http.StatusTooManyRequests, "Too many requests"},
	ProblemTypeNotReady:             {http.StatusServiceUnavailable, "No catalogue is loaded yet"},
	ProblemTypeUnavailable:          {http.StatusServiceUnavailable, "The database does not answer"},
	ProblemTypeBusy:                 {http.StatusServiceUnavailable, "Too many reports are at work"},
	ProblemTypeNoKitInTime:          {http.StatusServiceUnavailable, "No kit was found in time"},
	ProblemTypeNoDatabase:           {http.StatusNotImplemented, "There is no database to write to"},
	ProblemTypeFailed:               {http.StatusInternalServerError, "The service failed"},
}

func newProblem(kind ProblemType, format string, args ...any) *Problem {
	return &Problem{Type: kind, Status: kinds[kind].status, Title: kinds[kind].title, Detail: fmt.Sprintf(format, args...)}
}

// maxFaults bounds the list of a body that is wrong all over.
const maxFaults = 200

// withFaults lists faults; the detail names the first.
func withFaults(kind ProblemType, faults []Fault) *Problem {
	first, more := faults[0], ""
	if n := len(faults) - 1; n > 0 {
		more = fmt.Sprintf(" (and %d more, see errors)", n)
	}
	where := "body"
	switch {
	case first.Parameter != nil:
		where = *first.Parameter
	case first.Rule != nil:
		where = fmt.Sprintf("rule %s, line %d, column %d", *first.Rule, *first.Line, *first.Column)
	case first.Pointer != nil && *first.Pointer != "":
		where = *first.Pointer
	}
	p := newProblem(kind, "%s: %s%s", where, first.Detail, more)
	if n := len(faults) - maxFaults; n > 0 {
		whole := ""
		faults = append(faults[:maxFaults:maxFaults], Fault{Pointer: &whole, Detail: fmt.Sprintf("%d further faults are not listed; mend these first", n)})
	}
	p.Errors = &faults
	return p
}

func invalid(violations []catalog.Violation) *Problem {
	faults := make([]Fault, len(violations))
	for i, v := range violations {
		faults[i] = Fault{Pointer: &v.Pointer, Detail: v.Detail}
	}
	return withFaults(ProblemTypeInvalid, faults)
}

func badParameter(name, format string, args ...any) *Problem {
	return withFaults(ProblemTypeBadParameter, []Fault{{Parameter: &name, Detail: fmt.Sprintf(format, args...)}})
}

// problemOf maps every error to its problem. What it does not know is a failure of
// the service, whose cause goes to the log only.
func problemOf(err error, c echo.Context) *Problem {
	var (
		problem  *Problem
		notFound *catalog.NotFoundError
		wrong    *catalog.InvalidError
		rule     rules.Errors
		failed   *rules.FailedError
		named    *catalog.ReferencedError
		refused  *echo.HTTPError
		unknown  *kit.UnknownCodeError
		mistyped *kit.CodeError
	)
	switch {
	case errors.As(err, &problem):
		return problem
	case errors.As(err, &notFound) && notFound.Pointer != "":
		return invalid([]catalog.Violation{{Pointer: notFound.Pointer, Detail: notFound.Error()}})
	case errors.As(err, &notFound):
		return newProblem(ProblemTypeNotFound, "%s", notFound.Error())
	case errors.As(err, &wrong) && len(wrong.Violations) > 0:
		return invalid(wrong.Violations)
	case errors.As(err, &rule):
		return withFaults(ProblemTypeInvalid, ruleFaults(rule))
	case errors.As(err, &unknown):
		return newProblem(ProblemTypeUnknownCode, "%v", unknown)
	case errors.As(err, &mistyped):
		return newProblem(ProblemTypeMistypedCode, "%v", mistyped)
	case errors.As(err, &named):
		return referenced(named)
	case errors.Is(err, catalog.ErrPreconditionFailed):
		return newProblem(ProblemTypePreconditionFailed, "%v", catalog.ErrPreconditionFailed)
	case errors.Is(err, catalog.ErrKeyReused):
		return newProblem(ProblemTypeKeyReused, "%v", catalog.ErrKeyReused)
	case errors.Is(err, catalog.ErrUnavailable):
		return newProblem(ProblemTypeUnavailable, "%v; the last known catalogue is still served, try again in a few seconds", catalog.ErrUnavailable) // the cause is for the log
	case errors.Is(err, kit.ErrLimit):
		return newProblem(ProblemTypeNoKitInTime, "the search for this kit ended before any was found; ask again when the service is less busy, or with the objective price")
	case errors.As(err, &failed):
		return newProblem(ProblemTypeFailed, "rule %s cannot be worked out for this vehicle and carburetor: %s: %v; correct the rule, or roll the rules back", failed.Rule.ID, failed.Where, failed.Cause)
	case errors.As(err, &refused):
		return echoProblem(refused, c)
	}
	return newProblem(ProblemTypeFailed, "the service could not answer; its log has the cause under this request id")
}

// referenced lists who names the thing; the detail names the first few.
func referenced(err *catalog.ReferencedError) *Problem {
	short, more := *err, ""
	if n := len(err.By) - 5; n > 0 {
		short.By, more = err.By[:5], fmt.Sprintf(" (and %d more, see referenced_by)", n)
	}
	p := newProblem(ProblemTypeReferenced, "%v%s", &short, more)
	p.ReferencedBy = &err.By
	return p
}

// echoProblem gives echo's own refusals: no route, no method, a parameter that the
// generated code could not bind.
func echoProblem(err *echo.HTTPError, c echo.Context) *Problem {
	r := c.Request()
	switch err.Code {
	case http.StatusNotFound:
		return newProblem(ProblemTypeNoSuchPath, "there is no path %s%s; /openapi.yaml lists them all", strconv.Quote(clip(r.URL.Path)), nearPath(r.URL.Path))
	case http.StatusMethodNotAllowed:
		return newProblem(ProblemTypeMethodNotAllowed, "%s does not have %s; accepted: %s", clip(r.URL.Path), clip(r.Method), c.Response().Header().Get(echo.HeaderAllow))
	case http.StatusBadRequest:
		return newProblem(ProblemTypeBadParameter, "%v", err.Message)
	}
	return newProblem(ProblemTypeFailed, "the service could not answer; its log has the cause under this request id")
}

// nearPath names the contract's path that comes near, comparing without the last
// segment too, where an id stands.
func nearPath(path string) string {
	path = strings.TrimRight(path, "/")
	if path == "" || path == "/v1" {
		return "" // every path begins so
	}
	var plain []string
	for p := range contract().Paths.Map() {
		if !strings.Contains(p, "{") {
			plain = append(plain, p)
		}
	}
	slices.Sort(plain)
	if near := catalog.Near(path, plain, 1); len(near) > 0 {
		return ", did you mean " + near[0] + "?"
	}
	return ""
}

// handleError is echo's HTTPErrorHandler: the one place where an error becomes a
// response.
func (s *server) handleError(err error, c echo.Context) {
	if c.Response().Committed || c.Request().Context().Err() != nil {
		// The answer is on its way already, or the caller has left: no one reads a problem.
		s.log.LogAttrs(context.Background(), slog.LevelWarn, "answer not finished",
			slog.String("request_id", requestID(c)), slog.String("error", err.Error()))
		return
	}
	p := *problemOf(err, c)
	if p.Type == ProblemTypeFailed || p.Type == ProblemTypeUnavailable || p.Type == ProblemTypeNoKitInTime {
		s.log.LogAttrs(context.Background(), slog.LevelError, "request failed",
			slog.String("request_id", requestID(c)), slog.String("error", err.Error()))
	}
	p.place(c)
	if p.Status == http.StatusServiceUnavailable {
		c.Response().Header().Set(echo.HeaderRetryAfter, "2")
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	if err := writeJSON(c, p.Status, "application/problem+json", &p); err != nil {
		s.log.LogAttrs(context.Background(), slog.LevelError, "problem not written", slog.String("request_id", requestID(c)), slog.String("error", err.Error()))
	}
}

// place says which request a problem is about.
func (p *Problem) place(c echo.Context) {
	p.Instance = instanceOf(c.Request())
	if id := requestID(c); id != "" {
		p.RequestID = &id
	}
}

func instanceOf(r *http.Request) string {
	path := r.URL.EscapedPath()
	if path == "" {
		path = "/"
	}
	return path[:min(len(path), 2000)]
}

// clip shortens foreign text for a message.
func clip(s string) string {
	const most = 80
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}
