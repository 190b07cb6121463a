package units

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Source: worked examples of GS1, all from memory of the published text. The
// first is GS1's check digit example; 614141 is GS1's example company prefix
// (EPC Tag Data Standard); the GTIN-8 is a commonly printed specimen.
func TestPublishedGTINs(t *testing.T) {
	for _, gtin := range []string{"6291041500213", "80614141123458", "614141123452", "96385074"} {
		if err := ValidateGTIN(gtin); err != nil {
			t.Error(err)
		}
	}
	if d, err := GTINCheckDigit("629104150021"); err != nil || d != 3 {
		t.Errorf("629104150021: check digit %d (%v), GS1 says 3", d, err)
	}
}

func TestValidateGTINRefuses(t *testing.T) {
	for gtin, reason := range map[string]string{
		"6291041500214":   "check digit is 4, expected 3",
		"6291041500123":   "expected 1",
		"":                "has 0 characters",
		"629104150021":    "check digit is 1, expected 4", // a GTIN-13 without its last digit
		"12345":           "has 5 characters",
		"62910415002133x": "has 15 characters",
		"629104150021x":   "where a digit belongs",
		"6291041-00213":   "where a digit belongs",
		"６２910415":        "where a digit belongs", // fullwidth digits are bytes that are no digits
	} {
		err := ValidateGTIN(gtin)
		if err == nil {
			t.Errorf("%q accepted", gtin)
		} else if !strings.Contains(err.Error(), reason) {
			t.Errorf("%q: error %q lacks %q", gtin, err, reason)
		}
	}
	for _, body := range []string{"", "123456", "12345678", "629104150021x", "12345x7"} {
		if d, err := GTINCheckDigit(body); err == nil {
			t.Errorf("body %q accepted with check digit %d", body, d)
		}
	}
}

func TestPropertyGTINFindsEveryMistypedDigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.SampledFrom([]int{7, 11, 12, 13}).Draw(t, "length")
		body := rapid.StringOfN(rapid.RuneFrom([]rune("0123456789")), n, n, -1).Draw(t, "body")
		d, err := GTINCheckDigit(body)
		if err != nil {
			t.Fatal(err)
		}
		gtin := fmt.Sprintf("%s%d", body, d)
		if err := ValidateGTIN(gtin); err != nil {
			t.Fatal(err)
		}
		// The algorithm's published promise: one wrong digit is always found.
		i := rapid.IntRange(0, n).Draw(t, "place")
		wrong := []byte(gtin)
		wrong[i] = '0' + (wrong[i]-'0'+byte(rapid.IntRange(1, 9).Draw(t, "slip")))%10
		if err := ValidateGTIN(string(wrong)); err == nil {
			t.Fatalf("%s with digit %d mistyped as %s was accepted", gtin, i, wrong)
		}
	})
}
