package httpapi

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/labstack/echo/v4"

	"onetrip/internal/kit"
)

// BenchmarkHTTPResolve asks for a kit of the demo catalogue over a loopback
// connection, next to an echo handler that reads the same body and answers with the
// same bytes, made before. ratio is requests a second of the first over the second.
func BenchmarkHTTPResolve(b *testing.B) {
	data, err := demo()
	if err != nil {
		b.Fatal(err)
	}
	snap, err := kit.Open(data)
	if err != nil {
		b.Fatal(err)
	}
	body, err := json.Marshal(kit.Request{Vehicle: data.Vehicles[0], CarburetorSKU: data.Carburetors[0].SKU})
	if err != nil {
		b.Fatal(err)
	}
	service := New(Config{Snapshot: func() *kit.Snapshot { return snap }, Source: "demo"})
	answer := client{b, service}.post("/v1/kits/resolve", string(body)).body

	prebuilt := echo.New()
	prebuilt.POST("/v1/kits/resolve", func(c echo.Context) error {
		if _, err := io.Copy(io.Discard, c.Request().Body); err != nil {
			return err
		}
		return c.Blob(http.StatusOK, echo.MIMEApplicationJSON, answer)
	})
	var prebuiltNs float64
	b.Run("prebuilt", func(b *testing.B) { prebuiltNs = ask(b, prebuilt, body, len(answer)) })
	b.Run("resolve", func(b *testing.B) {
		ns := ask(b, service, body, len(answer))
		if prebuiltNs > 0 { // it ran too
			b.ReportMetric(prebuiltNs/ns, "ratio")
		}
	})
	b.Run("decode", func(b *testing.B) { // the share of reading and checking the body
		b.ReportAllocs()
		for b.Loop() {
			if _, err := DecodeResolve(body); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("encode", func(b *testing.B) { // the share of writing the answer
		var k kit.Kit
		if err := json.Unmarshal(answer, &k); err != nil {
			b.Fatal(err)
		}
		b.ReportAllocs()
		for b.Loop() {
			buf := takeBuffer()
			if err := buf.value(&k); err != nil {
				b.Fatal(err)
			}
			buf.release()
		}
	})
}

// ask sends b.N requests over as many connections as there are processors and
// returns the nanoseconds that one took.
func ask(b *testing.B, handler http.Handler, body []byte, size int) float64 {
	server := httptest.NewServer(handler)
	defer server.Close()
	target := server.URL + "/v1/kits/resolve"
	b.SetBytes(int64(size))
	b.ResetTimer()
	b.RunParallel(func(pb *testing.PB) {
		client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1}}
		defer client.CloseIdleConnections()
		for pb.Next() {
			request, err := http.NewRequestWithContext(b.Context(), http.MethodPost, target, bytes.NewReader(body))
			if err != nil {
				b.Error(err)
				return
			}
			request.Header.Set("Content-Type", "application/json")
			response, err := client.Do(request)
			if err != nil {
				b.Error(err)
				return
			}
			n, err := io.Copy(io.Discard, response.Body)
			if err := response.Body.Close(); err != nil {
				b.Error(err)
			}
			if err != nil || response.StatusCode != http.StatusOK || n != int64(size) {
				b.Errorf("status %d, %d bytes, %v", response.StatusCode, n, err)
				return
			}
		}
	})
	b.StopTimer()
	return float64(b.Elapsed().Nanoseconds()) / float64(b.N)
}
