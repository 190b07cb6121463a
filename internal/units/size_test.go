package units

import (
	"encoding/json"
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestOneSizeHasManySpellings(t *testing.T) {
	for want, spellings := range map[Size][]string{
		Inches(3, 8):   {"3/8", "0.375", ".375", "6/16", "-6", "-06", ` 3/8" `, `3/8 "`, "0-3/8", "0.3750"},
		Inches(17, 16): {"1-1/16", "1 1/16", "1.0625", "17/16", "-17", "1-2/32"},
		Inches(2, 1):   {"2", "2.0", "2.", "32/16", "-32", `2"`, "1-1/1"},
		Inches(1, 3):   {"1/3", "2/6"},
		Inches(1, 1e6): {"0.000001"},
		Inches(1e6, 1): {"1000000"},
	} {
		for _, text := range spellings {
			got, err := ParseSize(text)
			if err != nil {
				t.Errorf("%q: %v", text, err)
			} else if got != want {
				t.Errorf("%q: got %v, want %v", text, got, want)
			}
		}
	}
}

func TestParseSizeRefuses(t *testing.T) {
	for text, reason := range map[string]string{
		"":                            "is empty",
		`"`:                           "is empty",
		"0":                           "above zero",
		"-0":                          "above zero",
		"0/8":                         "above zero",
		"1-0/8":                       "above zero",
		".":                           "above zero",
		"3/0":                         "divides by zero",
		"1-":                          "without a fraction",
		"1-2":                         "without a fraction",
		"/8":                          "missing number",
		"3/":                          "missing number",
		"-":                           "missing number",
		"--6":                         "where a digit belongs",
		"-6/16":                       "where a digit belongs",
		"3/8/2":                       "where a digit belongs",
		"1.5/8":                       "where a digit belongs",
		"+3":                          "where a digit belongs",
		"1e3":                         "where a digit belongs",
		"0x10":                        "where a digit belongs",
		"1_000":                       "where a digit belongs",
		"٣/8":                         "where a digit belongs",
		"three":                       "where a digit belongs",
		"NaN":                         "where a digit belongs",
		"1000001":                     "at most six digits",
		"0.0000001":                   "at most six digits",
		"1/99999999999999999":         "at most six digits",
		"0.1234567890123456789012345": "too long",
	} {
		got, err := ParseSize(text)
		if err == nil {
			t.Errorf("%q: accepted as %v", text, got)
			continue
		}
		if !strings.Contains(err.Error(), reason) || !strings.Contains(err.Error(), "write a fraction") {
			t.Errorf("%q: error %q lacks %q or the way to mend it", text, err, reason)
		}
		if strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: error is not one line: %q", text, err)
		}
		if !got.IsZero() {
			t.Errorf("%q: refused but gave %v", text, got)
		}
	}
}

func TestSizePrintsCanonicalForm(t *testing.T) {
	for text, want := range map[string]string{
		"6/16": "3/8", "0.375": "3/8", "-6": "3/8", "17/16": "1-1/16", "4/2": "2", "33/64": "33/64",
		"5.125": "5-1/8", "0.405": "0.405", "1/3": "1/3", "4/3": "1-1/3", "2.2": "2.2", "1/128": "0.0078125",
	} {
		s, err := ParseSize(text)
		if err != nil || s.String() != want {
			t.Errorf("%q prints %q (%v), want %q", text, s, err, want)
		}
	}
	if got := (Size{}).String(); got != "" {
		t.Errorf("zero size prints %q", got)
	}
}

// anySize draws sizes over the whole allowed range, common shop fractions often.
func anySize() *rapid.Generator[Size] {
	return rapid.Custom(func(t *rapid.T) Size {
		if rapid.Bool().Draw(t, "shop") {
			den := 1 << rapid.IntRange(0, 6).Draw(t, "power")
			return Inches(rapid.IntRange(1, 12*den).Draw(t, "num"), den)
		}
		return Inches(rapid.IntRange(1, maxPart).Draw(t, "num"), rapid.IntRange(1, maxPart).Draw(t, "den"))
	})
}

func (s Size) rat() *big.Rat { return big.NewRat(int64(s.num), int64(s.denOr1())) }

func TestPropertySizeReadsBackWhatItPrints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySize().Draw(t, "size")
		back, err := ParseSize(s.String())
		if err != nil || back != s {
			t.Fatalf("%d/%d prints %q, reads back as %v (%v)", s.num, s.den, s, back, err)
		}
		if again := back.String(); again != s.String() {
			t.Fatalf("prints %q, then %q", s, again)
		}
		// The JSON form is the same text.
		blob, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var fromJSON Size
		if err := json.Unmarshal(blob, &fromJSON); err != nil || fromJSON != s {
			t.Fatalf("json %s reads back as %v (%v)", blob, fromJSON, err)
		}
	})
}

func TestPropertySizeFormsAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num, den := rapid.IntRange(1, 9999).Draw(t, "num"), rapid.IntRange(1, 9999).Draw(t, "den")
		scale := rapid.IntRange(1, 99).Draw(t, "scale")
		want := Inches(num, den)
		if got := Inches(num*scale, den*scale); num*scale <= maxPart && got != want {
			t.Fatalf("scaled by %d: %v, want %v", scale, got, want)
		}
		fraction := big.NewRat(int64(num), int64(den)).String()
		if got, err := ParseSize(fraction); err != nil || got != want {
			t.Fatalf("%s: %v (%v), want %v", fraction, got, err, want)
		}
		if n, ok := want.Sixteenths(); ok {
			if got := Inches(n, 16); got != want {
				t.Fatalf("%v is not %d sixteenths", want, n)
			}
		}
	})
}

// Whatever number of digits a text has, it is the size that big.Rat reads, or refused
// where that has parts too large.
func TestPropertyParseSizeIsAsBigRat(t *testing.T) {
	read := 0
	rapid.Check(t, func(t *rapid.T) {
		var text string
		want := new(big.Rat)
		s := anySize().Draw(t, "size")
		switch kind := rapid.IntRange(0, 3).Draw(t, "kind"); kind {
		case 0: // a fraction that need not be reduced
			times := big.NewInt(rapid.Int64Range(1, 1e12).Draw(t, "times"))
			text = new(big.Int).Mul(s.rat().Num(), times).String() + "/" + new(big.Int).Mul(s.rat().Denom(), times).String()
			want = s.rat()
		case 1: // a decimal that ends
			power := rapid.IntRange(1, 22).Draw(t, "power")
			want.SetFrac(big.NewInt(rapid.Int64Range(1, 3<<power).Draw(t, "num")), new(big.Int).Lsh(big.NewInt(1), uint(power)))
			text = want.FloatString(power) + strings.Repeat("0", rapid.IntRange(0, 3).Draw(t, "zeros"))
		default: // any digits; big.Rat takes a fraction with leading zeros for octal
			text = rapid.StringMatching(`0{0,3}[0-9]{1,20}\.[0-9]{0,20}|[1-9][0-9]{0,19}(/[1-9][0-9]{0,19})?`).Draw(t, "text")
			if _, ok := want.SetString(text); !ok {
				t.Fatalf("%s is no number", text)
			}
		}
		got, err := ParseSize(text)
		fits := len(text) <= 24 && want.Sign() > 0 && want.Num().IsInt64() && want.Denom().IsInt64() && want.Num().Int64() <= maxPart && want.Denom().Int64() <= maxPart
		if (err == nil) != fits || fits && got.rat().Cmp(want) != 0 {
			t.Fatalf("%s is %v (%v), big.Rat says %v", text, got, err, want)
		}
		if fits {
			read++
		}
	})
	if read < 10 {
		t.Errorf("only %d were read", read)
	}
}

func TestPropertyCompareIsTheOrderOfRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := anySize().Draw(t, "a"), anySize().Draw(t, "b"), anySize().Draw(t, "c")
		if got, want := a.Compare(b), a.rat().Cmp(b.rat()); got != want {
			t.Fatalf("%v against %v: %d, big.Rat says %d", a, b, got, want)
		}
		if a.Compare(b) != -b.Compare(a) {
			t.Fatalf("%v and %v: not antisymmetric", a, b)
		}
		if (a.Compare(b) == 0) != (a == b) {
			t.Fatalf("%v and %v: Compare and == disagree", a, b)
		}
		if a.Compare(b) <= 0 && b.Compare(c) <= 0 && a.Compare(c) > 0 {
			t.Fatalf("%v, %v, %v: not transitive", a, b, c)
		}
		if (Size{}).Compare(a) != -1 || a.Compare(Size{}) != 1 {
			t.Fatalf("the zero size is not below %v", a)
		}
	})
	if (Size{}).Compare(Size{}) != 0 {
		t.Error("two zero sizes differ")
	}
}

func TestSizeFromFloat(t *testing.T) {
	for in, want := range map[float64]Size{
		0.375: Inches(3, 8), 0.3751: Inches(3, 8), 0.3755: Inches(3755, 10000), 0.405: Inches(405, 1000),
		5.125: Inches(41, 8), 1.0 / 64: Inches(1, 64), 0.0001: Inches(1, 10000), 99: Inches(99, 1),
	} {
		if got, err := SizeFromFloat(in); err != nil || got != want {
			t.Errorf("%v: %v (%v), want %v", in, got, err, want)
		}
	}
	for _, in := range []float64{0, -1, 99.1, 1e-9, math.NaN(), math.Inf(1), math.Inf(-1)} {
		if got, err := SizeFromFloat(in); err == nil {
			t.Errorf("%v: accepted as %v", in, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		in := rapid.Float64Range(0.0001, 99).Draw(t, "in")
		got, err := SizeFromFloat(in)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Inches()-in) > 0.0005 {
			t.Fatalf("%v became %v", in, got)
		}
	})
}

func TestSixteenths(t *testing.T) {
	for text, want := range map[string]int{"3/8": 6, "-10": 10, "1-1/16": 17, "2": 32} {
		s, err := ParseSize(text)
		if n, ok := s.Sixteenths(); err != nil || !ok || n != want {
			t.Errorf("%q: %d %v (%v), want %d", text, n, ok, err, want)
		}
	}
	for _, s := range []Size{{}, Inches(1, 32), Inches(405, 1000)} {
		if n, ok := s.Sixteenths(); ok {
			t.Errorf("%v: claims %d sixteenths", s, n)
		}
	}
}

func TestSizeInJSON(t *testing.T) {
	var doc struct {
		A, B Size
		M    map[string]Size
	}
	if err := json.Unmarshal([]byte(`{"A":"6/16","B":"","M":{"x":"-6"}}`), &doc); err != nil {
		t.Fatal(err)
	}
	if doc.A != Inches(3, 8) || !doc.B.IsZero() || doc.M["x"] != doc.A {
		t.Errorf("got %+v", doc)
	}
	if err := json.Unmarshal([]byte(`{"A":"wide"}`), &doc); err == nil || !strings.Contains(err.Error(), `"wide"`) {
		t.Errorf("bad size in JSON: %v", err)
	}
}

func TestInchesPanicsOnNonsense(t *testing.T) {
	for _, c := range [][2]int{{0, 1}, {1, 0}, {-1, 2}, {maxPart + 1, 1}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("Inches(%d, %d) did not panic", c[0], c[1])
				}
			}()
			Inches(c[0], c[1])
		}()
	}
}

func TestSizeHotPathsDoNotAllocate(t *testing.T) {
	a, b := Inches(3, 8), Inches(5, 16)
	sum := 0.0
	if n := testing.AllocsPerRun(100, func() { sum += float64(a.Compare(b)) + a.Inches() }); n != 0 {
		t.Errorf("%v allocations", n)
	}
	for _, text := range []string{"5/16", "1-1/16", "0.405", "-6"} {
		if n := testing.AllocsPerRun(100, func() { _, _ = ParseSize(text) }); n != 0 {
			t.Errorf("%s: %v allocations", text, n)
		}
	}
}

func FuzzParseSize(f *testing.F) {
	for _, s := range []string{"3/8", "0.375", "-6", "1-1/16", "1 1/16", "2", ".5", "", "-", "1/0", "0.0000001", "99999999999", "1-1-1", "\xff", `5/16"`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSize(text)
		if err != nil {
			if !s.IsZero() {
				t.Fatalf("%q: refused but gave %v", text, s)
			}
			return
		}
		if s.IsZero() || s.num <= 0 || s.den <= 0 || s.Inches() <= 0 {
			t.Fatalf("%q: accepted as %d/%d", text, s.num, s.den)
		}
		back, err := ParseSize(s.String())
		if err != nil || back != s {
			t.Fatalf("%q prints %q, reads back as %v (%v)", text, s, back, err)
		}
	})
}

func BenchmarkParseSize(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := ParseSize("1-1/16"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSizeCompare(b *testing.B) {
	x, y := Inches(3, 8), Inches(5, 16)
	b.ReportAllocs()
	for b.Loop() {
		if x.Compare(y) != 1 {
			b.Fatal("wrong order")
		}
	}
}
