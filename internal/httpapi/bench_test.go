//go:build unix

package httpapi

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
	"onetrip/internal/store"
	"onetrip/internal/store/storetest"
)

// connections that ask at once, each for the next answer as soon as it has the last.
const connections = 16

// BenchmarkHTTPResolve asks the service, as it runs on a database with keys and a log
// file, for the kit of the README's example over loopback connections; and by turns an
// echo handler that reads the same body and answers with the same bytes, made before.
// ratio is requests a second of the first over the second, p99-ratio likewise. CPU is that
// of this process: the clients are in it, and cost both sides the same.
func BenchmarkHTTPResolve(b *testing.B) {
	service, key := guardedOnPostgres(b)
	headStart := HeadStart() // as serve has
	defer runtime.KeepAlive(headStart)
	body, err := os.ReadFile("../../testdata/requests/first.json")
	if err != nil {
		b.Fatal(err)
	}
	answer := client{b, service}.post("/v1/kits/resolve", string(body), echo.HeaderAuthorization, "Bearer "+key).body
	prebuilt := echo.New()
	prebuilt.POST("/v1/kits/resolve", func(c echo.Context) error {
		if _, err := io.Copy(io.Discard, c.Request().Body); err != nil {
			return err
		}
		return c.Blob(http.StatusOK, echo.MIMEApplicationJSON, answer)
	})
	base, full := newLoad(b, prebuilt, key, body, len(answer)), newLoad(b, service, key, body, len(answer))
	base.run(connections) // connects
	full.run(connections)
	base.forget()
	full.forget()
	b.ResetTimer()
	const turns = 10 // so that what else the machine does slows down both
	for turn := range turns {
		n := b.N*(turn+1)/turns - b.N*turn/turns
		base.run(n)
		full.run(n)
	}
	b.StopTimer()
	base.report(b, "echo-")
	full.report(b, "")
	b.ReportMetric(base.took.Seconds()/full.took.Seconds(), "ratio")
	b.ReportMetric(float64(full.percentile(99))/float64(base.percentile(99)), "p99-ratio")
	b.ReportMetric(0, "ns/op") // of both together says nothing
}

// guardedOnPostgres is the service as serve makes it on a database, with a key to it.
func guardedOnPostgres(b *testing.B) (service http.Handler, key string) {
	log, err := os.Create(filepath.Join(b.TempDir(), "log"))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { log.Close() })
	var keys *store.Keys
	c, dsn := onPostgres(b, func(cfg *Config) {
		cfg.Log = slog.New(slog.NewJSONHandler(log, nil))
		cfg.Access = &Access{
			Required: func() bool { return keys.Required() },
			Verify: func(presented string) (Caller, bool) {
				k, ok := keys.Verify(presented)
				if !ok {
					return Caller{}, false
				}
				return Caller{ID: k.ID, Allows: k.Allows}, true
			},
			RequestsPerMinute: 1e9,
		}
	})
	if keys, err = store.NewKeys(storetest.Pool(b, dsn), []byte("pepper of a benchmark")); err != nil {
		b.Fatal(err)
	}
	if _, key, err = keys.Create(b.Context(), "benchmark", []string{"read"}); err != nil {
		b.Fatal(err)
	}
	if err := keys.Load(b.Context()); err != nil {
		b.Fatal(err)
	}
	return c.handler, key
}

// load sends one request again and again and keeps how long each took.
type load struct {
	b         *testing.B
	request   func() (*http.Request, error)
	size      int // of the answer
	clients   [connections]http.Client
	latencies []time.Duration
	took, cpu time.Duration
}

func newLoad(b *testing.B, handler http.Handler, key string, body []byte, size int) *load {
	server := httptest.NewServer(handler)
	l := &load{b: b, size: size, request: func() (*http.Request, error) {
		r, err := http.NewRequestWithContext(b.Context(), http.MethodPost, server.URL+"/v1/kits/resolve", bytes.NewReader(body))
		if err == nil {
			r.Header.Set(echo.HeaderContentType, echo.MIMEApplicationJSON)
			r.Header.Set(echo.HeaderAuthorization, "Bearer "+key)
		}
		return r, err
	}}
	for i := range l.clients {
		l.clients[i].Transport = &http.Transport{MaxIdleConnsPerHost: 1}
	}
	b.Cleanup(func() {
		for i := range l.clients {
			l.clients[i].CloseIdleConnections()
		}
		server.Close()
	})
	return l
}

// run sends n requests.
func (l *load) run(n int) {
	var left atomic.Int64
	left.Store(int64(n))
	var all sync.WaitGroup
	var mu sync.Mutex
	start, cpu := time.Now(), cpuTime(l.b)
	for i := range l.clients {
		all.Go(func() {
			var mine []time.Duration
			for left.Add(-1) >= 0 {
				begun := time.Now()
				if !l.one(&l.clients[i]) {
					break
				}
				mine = append(mine, time.Since(begun))
			}
			mu.Lock()
			l.latencies = append(l.latencies, mine...)
			mu.Unlock()
		})
	}
	all.Wait()
	l.took += time.Since(start)
	l.cpu += cpuTime(l.b) - cpu
}

func (l *load) one(c *http.Client) bool {
	request, err := l.request()
	if err != nil {
		l.b.Error(err)
		return false
	}
	response, err := c.Do(request)
	if err != nil {
		l.b.Error(err)
		return false
	}
	n, err := io.Copy(io.Discard, response.Body)
	response.Body.Close()
	if err != nil || response.StatusCode != http.StatusOK || n != int64(l.size) {
		l.b.Errorf("status %d, %d bytes, %v", response.StatusCode, n, err)
		return false
	}
	return true
}

func (l *load) forget() { l.latencies, l.took, l.cpu = nil, 0, 0 }

func (l *load) percentile(p int) time.Duration {
	slices.Sort(l.latencies)
	return l.latencies[len(l.latencies)*p/100]
}

func (l *load) report(b *testing.B, prefix string) {
	n := float64(len(l.latencies))
	b.ReportMetric(n/l.took.Seconds(), prefix+"req/s")
	b.ReportMetric(float64(l.percentile(50).Microseconds()), prefix+"p50-µs")
	b.ReportMetric(float64(l.percentile(99).Microseconds()), prefix+"p99-µs")
	b.ReportMetric(float64(l.cpu.Microseconds())/n, prefix+"cpu-µs/req")
}

// cpuTime is what this process has used so far, of all processors.
func cpuTime(b *testing.B) time.Duration {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// BenchmarkHTTPParts are the shares of one request: reading and checking the body,
// resolving, writing the answer.
func BenchmarkHTTPParts(b *testing.B) {
	snap := kittest.Demo(b)
	body, err := os.ReadFile("../../testdata/requests/first.json")
	if err != nil {
		b.Fatal(err)
	}
	request, err := DecodeResolve(body)
	if err != nil {
		b.Fatal(err)
	}
	k, err := kit.Resolve(b.Context(), snap, request)
	if err != nil {
		b.Fatal(err)
	}
	for _, share := range []struct {
		name string
		do   func() error
	}{
		{"decode", func() error { _, err := DecodeResolve(body); return err }},
		{"resolve", func() error { _, err := kit.Resolve(b.Context(), snap, request); return err }},
		{"encode", func() error {
			buf := takeBuffer()
			defer buf.release()
			return buf.value(k)
		}},
		{"encoding-json", func() error { return json.NewEncoder(io.Discard).Encode(k) }},
	} {
		b.Run(share.name, func(b *testing.B) {
			b.ReportAllocs()
			cpu := cpuTime(b)
			for b.Loop() {
				if err := share.do(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64((cpuTime(b)-cpu).Nanoseconds())/float64(b.N), "cpu-ns/op")
		})
	}
}
