// Package units holds the exact quantities of the trade: inch sizes, threads and
// money. Sizes are rationals, so "3/8", "0.375" and "6/16" are one value, equal
// with == and usable as map keys.
package units

import (
	"errors"
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
	s, err := newSize(0, uint64(max(num, 0)), uint64(max(den, 0)))
	if err != nil {
		panic(err)
	}
	return s
}

// newSize is whole+num/den. The fraction is reduced first, so that nothing overflows.
func newSize(whole, num, den uint64) (Size, error) {
	if whole == 0 && num == 0 || den == 0 {
		return Size{}, fmt.Errorf("a size must be above zero")
	}
	common, rest := den, num
	for rest > 0 {
		common, rest = rest, common%rest
	}
	num, den = num/common, den/common
	if max(whole, num, den) > maxPart || whole*den+num > maxPart {
		return Size{}, errDigits
	}
	return Size{int32(whole*den + num), int32(den)}, nil
}

var errDigits = errors.New("a size must have at most six digits in each part")

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
		return newSize(0, n, 16)
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
	if d == 0 {
		return Size{}, fmt.Errorf("divides by zero")
	}
	if n == 0 {
		return Size{}, fmt.Errorf("must be above zero")
	}
	return newSize(w, n, d)
}

func parseDecimal(s string) (Size, error) {
	whole, frac, _ := strings.Cut(s, ".")
	frac = strings.TrimRight(frac, "0")
	w, err := digits("0" + whole)
	if err != nil {
		return Size{}, err
	}
	n, err := digits("0" + frac)
	if err != nil {
		return Size{}, err
	}
	if len(frac) > mostDigits {
		return Size{}, errDigits
	}
	den := uint64(1)
	for range len(frac) {
		den *= 10
	}
	return newSize(w, n, den)
}

// mostDigits is as many as a uint64 is sure to hold. What has more, leading zeros and
// zeros behind the point apart, does not come down to maxPart: of a fraction that long
// the other part has too few digits to be a factor of it, and the denominator of a
// decimal that long is at least 2 to the 20th.
const mostDigits = 19

func digits(s string) (uint64, error) {
	if s == "" {
		return 0, fmt.Errorf("has a missing number")
	}
	for _, r := range s {
		if r < '0' || r > '9' {
			return 0, fmt.Errorf("has %q where a digit belongs", r)
		}
	}
	s = strings.TrimLeft(s, "0")
	if len(s) > mostDigits {
		return 0, errDigits
	}
	n := uint64(0)
	for _, digit := range []byte(s) {
		n = 10*n + uint64(digit-'0')
	}
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
	return newSize(0, uint64(math.Round(in*10000)), 10000)
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
