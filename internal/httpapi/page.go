package httpapi

import (
	"encoding/base64"
	"encoding/json"
	"hash/fnv"
	"iter"
	"net/url"
	"slices"
	"sort"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"
)

const defaultPageLimit = 50 // the contract's default

// list is one kind of thing in the order of its key, and the question asked of it.
type list[T any] struct {
	items  []T
	search func(from int) iter.Seq[T] // of items from an index on those that can match; nil for all
	key    func(T) string
	match  func(T) bool
	write  func(*buffer, T) error
	limit  *PageLimit
	cursor *PageCursor
}

// cursorState is what a cursor holds: the question it belongs to and the key of the
// last item of the page before.
type cursorState struct {
	Question uint64 `json:"q"`
	After    string `json:"a"`
}

// writePage answers with the items behind the cursor that match, and the way to the
// next page when there are more.
func writePage[T any](c echo.Context, l list[T]) error {
	from := 0
	if l.cursor != nil {
		after, err := readCursor(*l.cursor, questionOf(c))
		if err != nil {
			return err
		}
		from = sort.Search(len(l.items), func(i int) bool { return l.key(l.items[i]) > after })
	}
	items := slices.Values(l.items[from:])
	if l.search != nil {
		items = l.search(from)
	}
	return writeItems(c, pageLimit(l.limit), items, l.match, l.key, l.write)
}

func pageLimit(asked *PageLimit) int {
	if asked == nil {
		return defaultPageLimit
	}
	return *asked
}

// writeItems answers with the first of items that match, and the way to the next page
// when more do.
func writeItems[T any](c echo.Context, limit int, items iter.Seq[T], match func(T) bool, key func(T) string, write func(*buffer, T) error) error {
	b := takeBuffer()
	defer b.release()
	b.WriteString(`{"items":[`)
	written, last := 0, ""
	for item := range items {
		if !match(item) {
			continue
		}
		if written == limit {
			next := writeCursor(cursorState{questionOf(c), last})
			b.WriteString(`],"next_cursor":"` + next + "\"}\n")
			c.Response().Header().Set("Link", "<"+nextURL(c, next)+`>; rel="next"`)
			return writeTagged(c, echo.MIMEApplicationJSON, hashOf(b.Bytes()), b.Bytes())
		}
		if written > 0 {
			b.WriteByte(',')
		}
		if err := write(b, item); err != nil {
			return err
		}
		written, last = written+1, key(item)
	}
	b.WriteString("]}\n")
	return writeTagged(c, echo.MIMEApplicationJSON, hashOf(b.Bytes()), b.Bytes())
}

// questionOf hashes path and filters, so that a cursor cannot be used with others.
func questionOf(c echo.Context) uint64 {
	query := c.Request().URL.Query()
	query.Del("limit")
	query.Del("cursor")
	for _, values := range query {
		slices.Sort(values)
	}
	h := fnv.New64a()
	h.Write([]byte(c.Path() + "?" + query.Encode()))
	return h.Sum64()
}

func nextURL(c echo.Context, cursor string) string {
	query := c.Request().URL.Query()
	query.Set("cursor", cursor)
	next := url.URL{Path: c.Request().URL.Path, RawQuery: query.Encode()}
	return next.String()
}

func writeCursor(state cursorState) string {
	text, _ := json.Marshal(state) // a number and a text always encode
	return base64.RawURLEncoding.EncodeToString(text)
}

func readCursor(cursor string, question uint64) (after string, err error) {
	var state cursorState
	text, err := base64.RawURLEncoding.DecodeString(cursor)
	if err == nil {
		err = json.Unmarshal(text, &state)
	}
	switch {
	case err != nil:
		return "", badCursor("is not a cursor of this service; take next_cursor of the page before, or leave it out")
	case state.Question != question:
		return "", badCursor("belongs to another list or other filters; keep the filters of the first page, or leave it out")
	}
	return state.After, nil
}

func badCursor(detail string) error {
	name := "cursor"
	return withFaults(ProblemTypeBadCursor, []Fault{{Parameter: &name, Detail: detail}})
}

// words prepares a search text for hasWords.
func words(q *Search) []string {
	if q == nil {
		return nil
	}
	return strings.Fields(*q)
}

// hasWords reports whether every word occurs in one of the texts, in either case.
func hasWords(words []string, texts ...string) bool {
	for _, w := range words {
		if !slices.ContainsFunc(texts, func(text string) bool { return containsFold(text, w) }) {
			return false
		}
	}
	return true
}

// containsFold is strings.Contains in either case, without making a lower-case copy
// of every name in the catalogue. Where text and part begin with ASCII that differs
// nothing is compared: that is nearly everywhere.
func containsFold(text, part string) bool {
	if part == "" {
		return true
	}
	first := lower(part[0])
	for i := 0; i+len(part) <= len(text); i++ {
		if c := text[i]; (lower(c) == first || c|first >= utf8.RuneSelf) && strings.EqualFold(text[i:i+len(part)], part) {
			return true
		}
	}
	return false
}

func lower(c byte) byte {
	if 'A' <= c && c <= 'Z' {
		c += 'a' - 'A'
	}
	return c
}

// is reports whether a filter is not set or equals the value.
func is[T comparable](filter *T, value T) bool { return filter == nil || *filter == value }

func isFold[T ~string](filter *T, value string) bool {
	return filter == nil || strings.EqualFold(string(*filter), value)
}
