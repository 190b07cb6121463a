package units

import (
	"fmt"
	"strings"
)

// GTINCheckDigit returns the check digit that follows body, the number without
// its last digit (7, 11, 12 or 13 digits). From the right the digits weigh
// 3, 1, 3, 1, ...; the check digit brings the sum to a multiple of ten.
// Source: GS1 General Specifications, standard check digit calculation (mod 10).
func GTINCheckDigit(body string) (int, error) {
	switch len(body) {
	case 7, 11, 12, 13:
	default:
		return 0, fmt.Errorf("gtin body %q: has %d characters; give the 7, 11, 12 or 13 digits before the check digit", clip(body), len(body))
	}
	sum, weight := 0, 3
	for i := len(body) - 1; i >= 0; i-- {
		c := body[i]
		if c < '0' || c > '9' {
			return 0, fmt.Errorf("gtin body %q: has %q where a digit belongs; write digits only", clip(body), c)
		}
		sum += int(c-'0') * weight
		weight = 4 - weight
	}
	return (10 - sum%10) % 10, nil
}

// ValidateGTIN checks a GTIN-8, GTIN-12, GTIN-13 or GTIN-14 written as digits
// only, and says which check digit was expected when the last one is wrong.
// Source: as GTINCheckDigit.
func ValidateGTIN(gtin string) error {
	switch len(gtin) {
	case 8, 12, 13, 14:
	default:
		return fmt.Errorf("gtin %q: has %d characters; write the 8, 12, 13 or 14 digits without spaces", clip(gtin), len(gtin))
	}
	for i := 0; i < len(gtin); i++ {
		if gtin[i] < '0' || gtin[i] > '9' {
			return fmt.Errorf("gtin %q: has %q where a digit belongs; write digits only", clip(gtin), gtin[i])
		}
	}
	last := len(gtin) - 1
	want, err := GTINCheckDigit(gtin[:last])
	if err != nil {
		return err
	}
	if got := int(gtin[last] - '0'); got != want {
		return fmt.Errorf("gtin %q: check digit is %d, expected %d; correct the number or the digit that was mistyped", gtin, got, want)
	}
	return nil
}

// GTIN14 is a GTIN of any length in 14 digits, zeros in front. A scanner may read one bar
// code as 12 digits or as 13; numbers that are the same here are one article's.
// Source: GS1 General Specifications, GTINs in a field of 14 digits.
func GTIN14(gtin string) string { return strings.Repeat("0", max(0, 14-len(gtin))) + gtin }
