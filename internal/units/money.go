package units

import (
	"fmt"
	"math"
	"strings"
)

// Money is an amount in the minor unit of its currency (cents for USD), with the
// ISO 4217 alphabetic code. The zero value is "no amount".
type Money struct {
	AmountMinor int64  `json:"amount_minor"`
	Currency    string `json:"currency"`
}

// minorDigits lists the ISO 4217 currencies whose minor unit is not 1/100.
// From memory of ISO 4217 table A.1.
var minorDigits = map[string]int{
	"BHD": 3, "BIF": 0, "CLF": 4, "CLP": 0, "DJF": 0, "GNF": 0, "IQD": 3, "ISK": 0, "JOD": 3,
	"JPY": 0, "KMF": 0, "KRW": 0, "KWD": 3, "LYD": 3, "OMR": 3, "PYG": 0, "RWF": 0, "TND": 3,
	"UGX": 0, "UYI": 0, "UYW": 4, "VND": 0, "VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0,
}

// MinorDigits returns how many decimal digits the currency's minor unit has.
func MinorDigits(currency string) int {
	if n, ok := minorDigits[currency]; ok {
		return n
	}
	return 2
}

// ValidCurrency reports whether code has the form of an ISO 4217 code: three
// capital letters.
func ValidCurrency(code string) bool {
	if len(code) != 3 {
		return false
	}
	for _, r := range code {
		if r < 'A' || r > 'Z' {
			return false
		}
	}
	return true
}

// Times returns the amount n times over. It panics when the product does not fit
// in 64 bits: a wrapped total would be a wrong price, and bounds belong at input.
func (m Money) Times(n int) Money {
	product := m.AmountMinor * int64(n)
	if m.AmountMinor != 0 && (product/m.AmountMinor != int64(n) || (m.AmountMinor == -1 && product == math.MinInt64)) {
		panic(fmt.Sprintf("units: %d times %s does not fit in 64 bits", n, m))
	}
	return Money{product, m.Currency}
}

// Plus adds two amounts of one currency; an unset side takes the other's
// currency. It panics when two currencies meet (the catalogue has one) and when
// the sum does not fit in 64 bits.
func (m Money) Plus(o Money) Money {
	if m.Currency == "" {
		m.Currency = o.Currency
	}
	if o.Currency != "" && o.Currency != m.Currency {
		panic("units: adding " + o.Currency + " to " + m.Currency)
	}
	sum := m.AmountMinor + o.AmountMinor
	if (sum < m.AmountMinor) != (o.AmountMinor < 0) {
		panic(fmt.Sprintf("units: %s plus %s does not fit in 64 bits", m, o))
	}
	return Money{sum, m.Currency}
}

// String prints the amount with its minor digits: "12.99 USD", "1300 JPY".
func (m Money) String() string {
	digits := MinorDigits(m.Currency)
	sign, n := "", uint64(m.AmountMinor)
	if m.AmountMinor < 0 {
		sign, n = "-", -n // unsigned, so the least int64 prints right too
	}
	text := fmt.Sprintf("%0*d", digits+1, n)
	if digits > 0 {
		text = text[:len(text)-digits] + "." + text[len(text)-digits:]
	}
	return strings.TrimSpace(sign + text + " " + m.Currency)
}

// Signed is String with a plus before what is more than nothing.
func (m Money) Signed() string {
	if m.AmountMinor > 0 {
		return "+" + m.String()
	}
	return m.String()
}
