package httpapi

import (
	"cmp"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"runtime/debug"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// Config is what the service is made of.
type Config struct {
	// Snapshot returns the catalogue to answer from; nil while none is loaded.
	Snapshot func() *kit.Snapshot
	// Source says in /readyz where the catalogue comes from.
	Source string
	// Database tells whether the database behind the catalogue answers, and for how
	// long it has not been known whether the catalogue is the newest; nil without one.
	Database func() (connected bool, age time.Duration)
	// Writer changes the catalogue; nil where it comes from files.
	Writer Writer
	// Kits keeps saved kits.
	Kits Kits
	// Exports write the catalogue as the CSV that imports take.
	Exports Exports
	// Coverage works coverage reports out.
	Coverage Coverage
	// Access asks callers for keys; nil asks for none.
	Access *Access
	// Log takes one line per request and the causes of failures; nil logs nothing.
	Log *slog.Logger
	// MaxBodyBytes is the largest body read but for imports; 0 means 1 MiB.
	MaxBodyBytes int64
	// MaxImportBytes is the longest file that an import takes, unpacked; 0 means 1 GiB.
	MaxImportBytes int64
	// KitTime is how long a kit is looked for; 0 means 5 s.
	KitTime time.Duration
}

// HeadStart is for a process that serves to hold. The collector runs when the heap has
// doubled: beside a small catalogue every few hundred kits, a tenth of all the work.
// With these bytes, which are never touched and so never taken from the system, it waits
// for as many more.
func HeadStart() []byte { return make([]byte, 64<<20) }

// Exports write all parts, and all stock, of a catalogue as CSV.
type Exports struct {
	Parts, Stock func(io.Writer, *catalog.Snapshot) error
}

const (
	defaultMaxBodyBytes   = 1 << 20
	defaultMaxImportBytes = 1 << 30 // a row of stock is some 30 bytes
)

// server implements the generated ServerInterface.
type server struct {
	current        func() *kit.Snapshot
	source         string
	database       func() (connected bool, age time.Duration)
	writer         Writer
	kits           Kits
	coverage       Coverage
	exports        Exports
	access         *limitedAccess
	log            *slog.Logger
	maxBodyBytes   int64
	maxImportBytes int64
	kitTime        time.Duration
	examples       examples
	metrics        metrics
	trials         chan struct{} // holds one while a trial of rules runs
}

// New returns the handler of every path in the contract.
func New(cfg Config) *echo.Echo {
	s := &server{current: cfg.Snapshot, source: cfg.Source, database: cfg.Database, writer: cfg.Writer, kits: cfg.Kits, coverage: cfg.Coverage, exports: cfg.Exports, access: newAccess(cfg.Access),
		log: cfg.Log, maxBodyBytes: cmp.Or(cfg.MaxBodyBytes, defaultMaxBodyBytes), maxImportBytes: cmp.Or(cfg.MaxImportBytes, defaultMaxImportBytes), kitTime: cmp.Or(cfg.KitTime, defaultKitTime), trials: make(chan struct{}, 1)}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	s.metrics = s.newMetrics()
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = s.handleError
	e.Use(s.observe)
	checks := map[string][]echo.MiddlewareFunc{}
	for id, op := range operations() {
		checks[id] = []echo.MiddlewareFunc{named(id), onlyItsPaths(op), s.admit(op), checkRequest(op)}
	}
	RegisterHandlersWithOptions(withHEAD{e}, s, RegisterHandlersOptions{OperationMiddlewares: checks})
	return e
}

// withHEAD registers HEAD beside every GET; net/http leaves the body out.
type withHEAD struct{ *echo.Echo }

func (e withHEAD) GET(path string, h echo.HandlerFunc, m ...echo.MiddlewareFunc) *echo.Route {
	e.HEAD(path, h, m...)
	return e.Echo.GET(path, h, m...)
}

// snapshot is the catalogue of this request.
func (s *server) snapshot() (*kit.Snapshot, error) {
	if snap := s.current(); snap != nil {
		return snap, nil
	}
	return nil, newProblem(ProblemTypeNotReady, "no catalogue is loaded yet; ask again in a moment")
}

const requestIDKey = "request_id"

func requestID(c echo.Context) string {
	id, _ := c.Get(requestIDKey).(string)
	return id
}

// observe names the request, answers its errors, keeps a panic from taking the
// service down, counts it, and logs a line.
func (s *server) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := time.Now()
		id := c.Request().Header.Get(echo.HeaderXRequestID)
		if !validRequestID(id) {
			id = rand.Text()
		}
		c.Set(requestIDKey, id)
		c.Response().Header().Set(echo.HeaderXRequestID, id)
		c.Response().Header().Set(echo.HeaderXContentTypeOptions, "nosniff")
		if err := s.recovered(next, c); err != nil {
			c.Error(err)
		}
		took := time.Since(start)
		s.metrics.request(c, took)
		if s.log.Enabled(context.Background(), slog.LevelInfo) {
			s.log.LogAttrs(context.Background(), slog.LevelInfo, "request",
				slog.String("request_id", id), slog.String("method", c.Request().Method), slog.String("path", c.Request().URL.Path),
				slog.String("caller", caller(c).ID), slog.Int("status", c.Response().Status), slog.Int64("bytes", c.Response().Size), slog.Int64("took_us", took.Microseconds()))
		}
		return nil
	}
}

// recovered runs the handler and turns a panic into an error.
func (s *server) recovered(next echo.HandlerFunc, c echo.Context) (err error) {
	defer func() {
		switch p := recover(); p {
		case nil:
		case http.ErrAbortHandler:
			panic(p) // net/http's own way to drop a connection
		default:
			s.log.LogAttrs(context.Background(), slog.LevelError, "panic",
				slog.String("request_id", requestID(c)), slog.Any("panic", p), slog.String("stack", string(debug.Stack())))
			err = fmt.Errorf("panic: %v", p)
		}
	}()
	return next(c)
}

func validRequestID(id string) bool {
	if id == "" || len(id) > 64 {
		return false
	}
	for _, r := range []byte(id) {
		switch {
		case 'a' <= r && r <= 'z', 'A' <= r && r <= 'Z', '0' <= r && r <= '9', r == '.', r == '_', r == '-':
		default:
			return false
		}
	}
	return true
}
