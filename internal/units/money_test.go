package units

import (
	"encoding/json"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func TestMoneyPrintsItsMinorDigits(t *testing.T) {
	for want, m := range map[string]Money{
		"12.99 USD":                 {1299, "USD"},
		"0.05 USD":                  {5, "USD"},
		"-0.05 USD":                 {-5, "USD"},
		"0.00 EUR":                  {0, "EUR"},
		"1300 JPY":                  {1300, "JPY"},
		"0 JPY":                     {0, "JPY"},
		"1.234 KWD":                 {1234, "KWD"},
		"0.001 BHD":                 {1, "BHD"},
		"0.0001 CLF":                {1, "CLF"},
		"1.00":                      {100, ""},
		"-92233720368547758.08 USD": {math.MinInt64, "USD"},
		"92233720368547758.07 USD":  {math.MaxInt64, "USD"},
	} {
		if got := m.String(); got != want {
			t.Errorf("%+v prints %q, want %q", m, got, want)
		}
	}
}

func TestMoneyJSONNamesTheMinorUnit(t *testing.T) {
	blob, err := json.Marshal(Money{1299, "USD"})
	if err != nil || string(blob) != `{"amount_minor":1299,"currency":"USD"}` {
		t.Errorf("%s (%v)", blob, err)
	}
}

func TestValidCurrency(t *testing.T) {
	for code, want := range map[string]bool{"USD": true, "JPY": true, "usd": false, "US": false, "USDX": false, "U1D": false, "": false, "ÜS": false} {
		if got := ValidCurrency(code); got != want {
			t.Errorf("%q: %v, want %v", code, got, want)
		}
	}
}

func TestPlusTakesTheOtherCurrencyWhenUnset(t *testing.T) {
	five := Money{500, "USD"}
	if got := (Money{}).Plus(five); got != five {
		t.Errorf("unset + 5: %v", got)
	}
	if got := five.Plus(Money{}); got != five {
		t.Errorf("5 + unset: %v", got)
	}
}

func panics(f func()) (yes bool) {
	defer func() { yes = recover() != nil }()
	f()
	return false
}

// Source of the expected values: big.Int arithmetic.
func TestPropertyMoneyIsExactOrPanics(t *testing.T) {
	edge := rapid.OneOf(rapid.Int64(), rapid.SampledFrom([]int64{math.MinInt64, -1, 0, 1, math.MaxInt64}))
	rapid.Check(t, func(t *rapid.T) {
		a, b := edge.Draw(t, "a"), edge.Draw(t, "b")
		var sum, product Money
		sumPanics := panics(func() { sum = Money{a, "USD"}.Plus(Money{b, "USD"}) })
		productPanics := panics(func() { product = Money{a, "USD"}.Times(int(b)) })
		wantSum := new(big.Int).Add(big.NewInt(a), big.NewInt(b))
		wantProduct := new(big.Int).Mul(big.NewInt(a), big.NewInt(b))
		if sumPanics == wantSum.IsInt64() || !sumPanics && sum.AmountMinor != wantSum.Int64() {
			t.Fatalf("%d + %d: %v, panics %v", a, b, sum, sumPanics)
		}
		if productPanics == wantProduct.IsInt64() || !productPanics && product.AmountMinor != wantProduct.Int64() {
			t.Fatalf("%d x %d: %v, panics %v", a, b, product, productPanics)
		}
	})
}

func TestTwoCurrenciesDoNotAdd(t *testing.T) {
	if !panics(func() { Money{1, "USD"}.Plus(Money{1, "EUR"}) }) {
		t.Error("USD and EUR were added")
	}
}
