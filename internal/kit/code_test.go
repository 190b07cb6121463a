package kit_test

import (
	"bytes"
	"crypto/rand"
	"errors"
	"io"
	"math"
	mathrand "math/rand/v2"
	"strings"
	"testing"

	"onetrip/internal/kit"
)

func mustCode(t testing.TB, random io.Reader) string {
	t.Helper()
	code, err := kit.NewCode(random)
	if err != nil {
		t.Fatal(err)
	}
	return code
}

// Over many codes every wrong character at every place is found, and every exchange of
// two characters, next to each other or not.
func TestCodesShowEverySlip(t *testing.T) {
	random := mathrand.NewChaCha8([32]byte{23})
	tried := 0
	for range 500 {
		code := mustCode(t, random)
		refused := func(wrong []byte) {
			tried++
			if _, err := kit.ReadCode(string(wrong)); err == nil {
				t.Fatalf("%s is accepted for %s", wrong, code)
			}
		}
		for i := range code {
			if code[i] == '-' {
				continue
			}
			for c := range len(kit.CodeAlphabet) {
				if wrong := []byte(code); wrong[i] != kit.CodeAlphabet[c] {
					wrong[i] = kit.CodeAlphabet[c]
					refused(wrong)
				}
			}
			for k := range i {
				if wrong := []byte(code); wrong[k] != '-' && wrong[k] != wrong[i] {
					wrong[k], wrong[i] = wrong[i], wrong[k]
					refused(wrong)
				}
			}
		}
	}
	if tried < 500*10*22 {
		t.Errorf("only %d slips were tried", tried)
	}
}

// The same by algebra, for all codes there are: the sum of a code's values times weights
// is fixed, so that a slip goes unseen exactly when it leaves that sum as it was. What the
// weights are is found out from the check character itself.
func TestNoCodeHidesASlip(t *testing.T) {
	const m = len(kit.CodeAlphabet)
	var weights [10]int // of each place, the check character's own last
	zero := kit.CheckValue(make([]int, 9), m)
	for place := range 9 {
		for v := range m {
			values := make([]int, 9)
			values[place] = v
			moved := (zero - kit.CheckValue(values, m) + m) % m
			if v == 1 {
				weights[place] = moved
			}
			if v > 1 && moved != v*weights[place]%m {
				t.Fatalf("the check character is not linear in place %d", place)
			}
		}
	}
	weights[9] = 1
	for i, w := range weights {
		for difference := 1; difference < m; difference++ {
			if difference*w%m == 0 {
				t.Errorf("a character wrong by %d goes unseen in place %d", difference, i)
			}
			for k := range i {
				if difference*(w-weights[k]+m)%m == 0 {
					t.Errorf("characters that differ by %d can change places %d and %d unseen", difference, k, i)
				}
			}
		}
	}
}

// The algorithm gives the check characters of MOD 11-2 examples of ISO/IEC 7064, from
// memory: 0794 has 0 and 079 has X, which stands for 10.
func TestCheckCharacterIsThatOfISO7064(t *testing.T) {
	if got := kit.CheckValue([]int{0, 7, 9, 4}, 11); got != 0 {
		t.Errorf("0794 has %d, want 0", got)
	}
	if got := kit.CheckValue([]int{0, 7, 9}, 11); got != 10 {
		t.Errorf("079 has %d, want 10", got)
	}
}

func TestCodesAreReadAsPeopleWriteThem(t *testing.T) {
	code := mustCode(t, rand.Reader)
	plain := strings.ReplaceAll(code, "-", "")
	for _, text := range []string{code, plain, strings.ToLower(code), " " + plain[:3] + " " + plain[3:7] + "--" + strings.ToLower(plain[7:]) + " "} {
		if got, err := kit.ReadCode(text); err != nil || got != code {
			t.Errorf("%q is read as %q, %v; want %s", text, got, err, code)
		}
	}
	for _, text := range []string{"", "-", code[:10], code + "2", strings.Repeat(plain, 1000), "O" + plain[1:], "\x00" + plain[1:], "ß" + plain[1:]} {
		var wrong *kit.CodeError
		if got, err := kit.ReadCode(text); !errors.As(err, &wrong) || wrong.Detail == "" {
			t.Errorf("%.30q is read as %q, %v", text, got, err)
		}
	}
}

// Every character is drawn alike often, and codes do not repeat.
func TestCodesAreRandom(t *testing.T) {
	const n = 20000
	count, seen := map[rune]int{}, map[string]bool{}
	random := mathrand.NewChaCha8([32]byte{1})
	for range n {
		code := mustCode(t, random)
		if seen[code] {
			t.Fatalf("%s came twice", code)
		}
		seen[code] = true
		for _, r := range strings.ReplaceAll(code, "-", "")[:9] {
			count[r]++
		}
	}
	expected := 9 * n / float64(len(kit.CodeAlphabet))
	for _, r := range kit.CodeAlphabet {
		if sigma := math.Sqrt(expected); math.Abs(float64(count[r])-expected) > 5*sigma {
			t.Errorf("%c came %d times of about %.0f", r, count[r], expected)
		}
	}
	if _, err := kit.NewCode(bytes.NewReader([]byte{1, 2, 3})); !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		t.Errorf("without randomness: %v", err)
	}
}

func FuzzReadCode(f *testing.F) {
	f.Add("7KFM3-WX9R5")
	f.Add("23456 7892c")
	f.Fuzz(func(t *testing.T, text string) {
		code, err := kit.ReadCode(text)
		if err != nil {
			return
		}
		if again, err := kit.ReadCode(code); err != nil || again != code || len(code) != 11 {
			t.Errorf("%q is read as %q, which is read as %q, %v", text, code, again, err)
		}
	})
}
