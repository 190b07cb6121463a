package httpapi

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// stallTimeout is how long the other side may take for the next bytes of a long body
// or answer.
const stallTimeout = 30 * time.Second

// exportTimeout bounds the work before the first bytes of an export.
const exportTimeout = 5 * time.Minute

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

// writeCSV streams a file of the whole catalogue. It is written twice, first for its
// hash alone: the entity tag comes before the file, which may be far too long to keep.
func (s *server) writeCSV(c echo.Context, name string, export func(io.Writer, *catalog.Snapshot) error, cat *catalog.Snapshot) error {
	conn := http.NewResponseController(c.Response())
	_, _ = conn.SetReadDeadline(time.Time{}), conn.SetWriteDeadline(time.Now().Add(exportTimeout)) // before the server's own end
	sum := sha256.New()
	if err := export(sum, cat); err != nil {
		return err
	}
	h := c.Response().Header()
	if notModified(c, hex.EncodeToString(sum.Sum(nil)[:16])) {
		return nil
	}
	h.Set(echo.HeaderContentType, mimeCSVFile)
	h.Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	c.Response().WriteHeader(http.StatusOK)
	if c.Request().Method == http.MethodHead {
		return nil
	}
	out := bufio.NewWriterSize(&steadyWriter{c.Response(), conn}, streamBytes)
	err := export(out, cat)
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		s.cut(c, err)
	}
	return nil
}
