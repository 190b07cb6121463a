package units

import (
	"fmt"
	"strconv"
	"strings"
)

// Thread is an inch screw thread: nominal size and threads per inch. Taper marks
// a pipe thread (NPT, ASME B1.20.1), whose Major is the nominal pipe size.
// Series letters (UNF, UNC, UNS) follow from the two numbers and are not kept.
type Thread struct {
	Major   Size
	PerInch int16
	Taper   bool
}

// ParseThread reads "5/8-18", "5/8-18 UNF", "1-1/16-12" or "1/4-18 NPT".
func ParseThread(text string) (Thread, error) {
	t, err := parseThread(strings.TrimSpace(text))
	if err != nil {
		return Thread{}, fmt.Errorf("thread %q: %w; write nominal size and threads per inch (5/8-18, 1/4-18 NPT)", clip(text), err)
	}
	return t, nil
}

func parseThread(s string) (Thread, error) {
	var t Thread
	body, series, _ := strings.Cut(s, " ")
	switch strings.ToUpper(strings.TrimSpace(series)) {
	case "", "UNF", "UNC", "UNS", "UN", "UNEF":
	case "NPT", "NPTF":
		t.Taper = true
	default:
		return t, fmt.Errorf("unknown series %q", series)
	}
	i := strings.LastIndexByte(body, '-')
	if i <= 0 {
		return t, fmt.Errorf("has no threads per inch")
	}
	if body[0] == '-' {
		// -6 names a tube, and its thread differs between families (9/16-18 or
		// 5/8-18), so it must not be read as a 3/8 thread.
		return t, fmt.Errorf("starts with a dash size, which names a tube and not a thread")
	}
	major, err := parseSize(body[:i])
	if err != nil {
		return t, err
	}
	n, err := digits(body[i+1:])
	if err != nil || n < 3 || n > 100 {
		return t, fmt.Errorf("threads per inch must be a whole number from 3 to 100")
	}
	t.Major, t.PerInch = major, int16(n)
	return t, nil
}

// IsZero reports whether no thread is set.
func (t Thread) IsZero() bool { return t.PerInch == 0 }

// String prints the form ParseThread reads: "5/8-18" or "1/4-18 NPT".
func (t Thread) String() string {
	var room [24]byte
	return string(t.append(room[:0]))
}

// append adds String to b.
func (t Thread) append(b []byte) []byte {
	if t.IsZero() {
		return b
	}
	b = append(t.Major.append(b), '-')
	b = strconv.AppendInt(b, int64(t.PerInch), 10)
	if t.Taper {
		b = append(b, " NPT"...)
	}
	return b
}

// MarshalText writes String.
func (t Thread) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads what ParseThread reads; empty text is the zero Thread.
func (t *Thread) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*t = Thread{}
		return nil
	}
	v, err := ParseThread(string(text))
	if err != nil {
		return err
	}
	*t = v
	return nil
}
