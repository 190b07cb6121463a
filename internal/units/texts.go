package units

import (
	"fmt"
	"strconv"
	"strings"
)

// Texts makes many sentences in one piece of memory. The zero Texts is ready for use;
// what it said stays good.
type Texts struct{ b strings.Builder }

// Grow makes room for so many bytes.
func (t *Texts) Grow(bytes int) { t.b.Grow(bytes) }

// Sayf is fmt.Sprintf, and takes no memory but for the sentence. It knows %s of a string,
// Size or Thread, %d of an int, %g and %.2f (any one digit, with + for a sign always) of
// a float64, and %%; it panics at anything else.
func (t *Texts) Sayf(layout string, args ...any) string {
	from := t.b.Len()
	var room [32]byte
	for {
		text, verb, found := strings.Cut(layout, "%")
		t.b.WriteString(text)
		if !found {
			return t.b.String()[from:]
		}
		if layout, found = strings.CutPrefix(verb, "%"); found {
			t.b.WriteByte('%')
			continue
		}
		verb, plus := strings.CutPrefix(verb, "+")
		decimals, shortest := -1, byte('g')
		if verb[0] == '.' {
			decimals, shortest, verb = int(verb[1]-'0'), 'f', verb[2:]
		}
		switch v := args[0].(type) {
		case string:
			must(verb[0] == 's', layout)
			t.b.WriteString(v)
		case Size:
			must(verb[0] == 's', layout)
			t.b.Write(v.append(room[:0]))
		case Thread:
			must(verb[0] == 's', layout)
			t.b.Write(v.append(room[:0]))
		case int:
			must(verb[0] == 'd', layout)
			t.b.Write(strconv.AppendInt(room[:0], int64(v), 10))
		case float64:
			must(verb[0] == shortest, layout)
			digits := strconv.AppendFloat(room[:0], v, shortest, decimals, 64)
			if plus && digits[0] != '-' {
				t.b.WriteByte('+')
			}
			t.b.Write(digits)
		default:
			must(false, layout)
		}
		layout, args = verb[1:], args[1:]
	}
}

func must(ok bool, layout string) {
	if !ok {
		panic(fmt.Sprintf("units: Sayf does not know the figure after %q", layout))
	}
}
