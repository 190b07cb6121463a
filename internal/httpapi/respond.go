package httpapi

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"github.com/goccy/go-json"
	"github.com/labstack/echo/v4"
)

// Catalogue answers may be kept but must be asked after, since prices and stock
// change by the hour; answers to a POST are made for one question.
const (
	revalidate = "private, no-cache"
	noStore    = "no-store"
)

// buffer is a JSON encoder over reusable memory. It writes the bytes that encoding/json
// would, in half the time, which TestAnswersAreEncodedAsByEncodingJSON holds it to.
type buffer struct {
	bytes.Buffer
	enc *json.Encoder
}

// maxPooledBytes keeps one large answer from holding its memory for good.
const maxPooledBytes = 1 << 20

var buffers = sync.Pool{New: func() any {
	b := &buffer{}
	b.enc = json.NewEncoder(&b.Buffer)
	b.enc.SetEscapeHTML(false)
	return b
}}

func takeBuffer() *buffer {
	b := buffers.Get().(*buffer)
	b.Reset()
	return b
}

func (b *buffer) release() {
	if b.Cap() <= maxPooledBytes {
		buffers.Put(b)
	}
}

// value writes v without the newline that the encoder puts after it.
func (b *buffer) value(v any) error {
	if err := b.enc.Encode(v); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1)
	return nil
}

// writeJSON answers with v.
func writeJSON(c echo.Context, status int, mediaType string, v any) error {
	b := takeBuffer()
	defer b.release()
	if err := b.value(v); err != nil {
		return err
	}
	b.WriteByte('\n')
	return writeBytes(c, status, mediaType, b.Bytes())
}

// hashOf is the entity tag of content that no write is conditional on.
func hashOf(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:16])
}

// writeTagged answers 200 with an entity tag, or 304 when the caller has these
// bytes already. The tag is made from the content, so it is the same on every replica
// and across revisions that did not touch it.
func writeTagged(c echo.Context, mediaType, tag string, body []byte) error {
	if notModified(c, tag) {
		return nil
	}
	return writeBytes(c, http.StatusOK, mediaType, body)
}

// notModified sets the entity tag, and answers 304 when the caller has that already.
func notModified(c echo.Context, tag string) bool {
	tag = `"` + tag + `"`
	h := c.Response().Header()
	h.Set("ETag", tag)
	h.Set(echo.HeaderCacheControl, revalidate)
	h.Set(echo.HeaderVary, echo.HeaderAccept)
	if !tagMatches(c.Request().Header.Values("If-None-Match"), tag) {
		return false
	}
	c.Response().WriteHeader(http.StatusNotModified)
	return true
}

// writeOne answers with a single resource. tag is what catalog.ETag gives for its
// state, "" where it cannot be written.
func writeOne(c echo.Context, tag string, write func(*buffer) error) error {
	b := takeBuffer()
	defer b.release()
	if err := write(b); err != nil {
		return err
	}
	b.WriteByte('\n')
	if tag == "" {
		tag = hashOf(b.Bytes())
	}
	return writeTagged(c, echo.MIMEApplicationJSON, tag, b.Bytes())
}

// tagMatches compares weakly, as RFC 9110 section 13.1.2 asks of If-None-Match.
func tagMatches(headers []string, tag string) bool {
	for _, header := range headers {
		for candidate := range strings.SplitSeq(header, ",") {
			candidate = strings.TrimSpace(candidate)
			if candidate == "*" || strings.TrimPrefix(candidate, "W/") == tag {
				return true
			}
		}
	}
	return false
}

func writeBytes(c echo.Context, status int, mediaType string, body []byte) error {
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, mediaType)
	h.Set(echo.HeaderContentLength, strconv.Itoa(len(body)))
	c.Response().WriteHeader(status)
	if c.Request().Method == http.MethodHead {
		return nil
	}
	_, err := c.Response().Write(body)
	return err
}
