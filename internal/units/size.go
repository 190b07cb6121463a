// Package units holds the exact quantities of the trade: inch sizes, threads and
// money. Sizes are rationals, so "3/8", "0.375" and "6/16" are one value, equal
// with == and usable as map keys.
package units

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Size is an exact length in inches, kept as a reduced fraction. The zero value
// means "no size"; every parsed Size is positive.
type Size struct{ num, den int32 }

// maxPart bounds numerator and denominator, so that comparing two sizes cannot
// overflow and a hostile decimal cannot grow without limit.
const maxPart = 1_000_000

// Inches returns the fraction num/den in inches. It panics unless both are
// positive: it is for constants in code, ParseSize is for input.
func Inches(num, den int) Size {
	s, err := newSize(big.NewInt(int64(num)), big.NewInt(int64(den)))
	if err != nil {
		panic(err)
	}
	return s
}

func newSize(num, den *big.Int) (Size, error) {
	if num.Sign() <= 0 || den.Sign() <= 0 {
		return Size{}, fmt.Errorf("a size must be above zero")
	}
	r := new(big.Rat).SetFrac(num, den)
	if !r.Num().IsInt64() || !r.Denom().IsInt64() || r.Num().Int64() > maxPart || r.Denom().Int64() > maxPart {
		return Size{}, fmt.Errorf("a size must have at most six digits in each part")
	}
	return Size{int32(r.Num().Int64()), int32(r.Denom().Int64())}, nil
}

// ParseSize reads a length in inches: a fraction "5/16", a mixed number "1-1/16"
// or "1 1/16", a decimal "0.375", a whole number "2", or a dash size "-6", which
// counts sixteenths of an inch of tube outside diameter (SAE J514).
func ParseSize(text string) (Size, error) {
	s, err := parseSize(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "\"")))
	if err != nil {
		return Size{}, fmt.Errorf("size %q: %w; write a fraction (5/16), a mixed number (1-1/16), a decimal (0.375) or a dash size (-6)", clip(text), err)
	}
	return s, nil
}

func parseSize(s string) (Size, error) {
	if s == "" {
		return Size{}, fmt.Errorf("is empty")
	}
	if len(s) > 24 {
		return Size{}, fmt.Errorf("is too long")
	}
	if dash, ok := strings.CutPrefix(s, "-"); ok {
		n, err := digits(dash)
		if err != nil {
			return Size{}, err
		}
		return newSize(n, big.NewInt(16))
	}
	whole, rest, mixed := strings.Cut(s, "-")
	if !mixed {
		whole, rest, mixed = strings.Cut(s, " ")
	}
	if !mixed {
		whole, rest = "0", s
	}
	w, err := digits(whole)
	if err != nil {
		return Size{}, err
	}
	top, bottom, isFraction := strings.Cut(rest, "/")
	if !isFraction {
		if mixed {
			return Size{}, fmt.Errorf("has a whole number without a fraction after it")
		}
		return parseDecimal(rest)
	}
	n, err := digits(top)
	if err != nil {
		return Size{}, err
	}
	d, err := digits(bottom)
	if err != nil {
		return Size{}, err
	}
	if d.Sign() == 0 {
		return Size{}, fmt.Errorf("divides by zero")
	}
	if n.Sign() == 0 {
		return Size{}, fmt.Errorf("must be above zero")
	}
	return newSize(n.Add(n, w.Mul(w, d)), d)
}

func parseDecimal(s string) (Size, error) {
	whole, frac, _ := strings.Cut(s, ".")
	if whole == "" {
		whole = "0"
	}
	n, err := digits(whole + frac)
	if err != nil {
		return Size{}, err
	}
	den := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(len(frac))), nil)
	return newSize(n, den)
}

func digits(s string) (*big.Int, error) {
	if s == "" {
		return nil, fmt.Errorf("has a missing number")
	}
	for _, r := range s {
		if r < '0' || r > '9' {
			return nil, fmt.Errorf("has %q where a digit belongs", r)
		}
	}
	n, _ := new(big.Int).SetString(s, 10)
	return n, nil
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}

// SizeFromFloat returns the size nearest to a length in inches, exact to 1/10000
// in and snapped to the closest 1/64 when that is nearer than 0.0005 in.
func SizeFromFloat(in float64) (Size, error) {
	if math.IsNaN(in) || in <= 0 || in > 99 {
		return Size{}, fmt.Errorf("size %v in: must be above 0 and at most 99 in", in)
	}
	if sixtyFourths := math.Round(in * 64); math.Abs(sixtyFourths/64-in) < 0.0005 && sixtyFourths > 0 {
		return Inches(int(sixtyFourths), 64), nil
	}
	if in < 0.00005 {
		return Size{}, fmt.Errorf("size %v in: rounds to nothing at 1/10000 in; give a larger length", in)
	}
	return newSize(big.NewInt(int64(math.Round(in*10000))), big.NewInt(10000))
}

// IsZero reports whether no size is set.
func (s Size) IsZero() bool { return s.num == 0 }

// Inches returns the length in inches, 0 for the zero Size.
func (s Size) Inches() float64 {
	if s.num == 0 {
		return 0
	}
	return float64(s.num) / float64(s.den)
}

// Compare orders sizes by length: -1, 0 or 1.
func (s Size) Compare(o Size) int {
	l, r := int64(s.num)*int64(o.denOr1()), int64(o.num)*int64(s.denOr1())
	switch {
	case l < r:
		return -1
	case l > r:
		return 1
	}
	return 0
}

func (s Size) denOr1() int32 {
	if s.den == 0 {
		return 1
	}
	return s.den
}

// Sixteenths returns the dash number and whether the size is a whole number of
// sixteenths of an inch.
func (s Size) Sixteenths() (int, bool) {
	if s.num == 0 || (int64(s.num)*16)%int64(s.den) != 0 {
		return 0, false
	}
	return int(int64(s.num) * 16 / int64(s.den)), true
}

// String prints the canonical form: a reduced fraction or mixed number where the
// denominator is a power of two up to 64, a decimal elsewhere, a fraction where
// no finite decimal exists. ParseSize reads every form back to the same Size.
func (s Size) String() string {
	var room [16]byte
	return string(s.append(room[:0]))
}

// append adds String to b.
func (s Size) append(b []byte) []byte {
	number := func(n int32) { b = strconv.AppendInt(b, int64(n), 10) }
	switch {
	case s.num == 0:
		return b
	case s.den == 1:
		number(s.num)
		return b
	}
	if s.den > 64 || s.den&(s.den-1) != 0 {
		if text, ok := s.decimal(); ok {
			return append(b, text...)
		}
	}
	if whole := s.num / s.den; whole > 0 {
		number(whole)
		b = append(b, '-')
	}
	number(s.num % s.den)
	b = append(b, '/')
	number(s.den)
	return b
}

func (s Size) decimal() (string, bool) {
	r := big.NewRat(int64(s.num), int64(s.den))
	text := strings.TrimRight(r.FloatString(20), "0")
	back, ok := new(big.Rat).SetString(text)
	return text, ok && back.Cmp(r) == 0
}

// MarshalText writes the canonical form.
func (s Size) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads what ParseSize reads; empty text is the zero Size.
func (s *Size) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*s = Size{}
		return nil
	}
	v, err := ParseSize(string(text))
	if err != nil {
		return err
	}
	*s = v
	return nil
}
