package httpapi

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"
)

// stallTimeout is how long the other side may take for the next bytes of a long body
// or answer.
const stallTimeout = 30 * time.Second

// streamBytes is how much of a long answer is gathered before it is sent.
const streamBytes = 64 << 10

// steadyWriter writes a long answer: it may take as long as it takes, as long as the
// reader reads.
type steadyWriter struct {
	to   io.Writer
	conn *http.ResponseController
}

func (w *steadyWriter) Write(p []byte) (int, error) {
	_ = w.conn.SetWriteDeadline(time.Now().Add(stallTimeout)) // a test's recorder has none
	return w.to.Write(p)
}

// cut ends an answer that cannot be finished so that the reader notices: without it
// the part that was sent would look whole.
func (s *server) cut(c echo.Context, err error) {
	s.log.LogAttrs(context.Background(), slog.LevelWarn, "answer not finished",
		slog.String("request_id", requestID(c)), slog.String("error", err.Error()))
	panic(http.ErrAbortHandler)
}
