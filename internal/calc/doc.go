// Package calc holds the physics of a carburetor swap as pure functions: plain
// numbers in, plain numbers out, units in the names. Nothing here reads, writes
// or remembers anything, and nothing allocates except to describe an error.
//
// Each function names its formula, valid range and source. "Common practice, no
// source" marks a figure the trade uses without a publication behind it.
package calc

import (
	"fmt"
	"math"
)

// above refuses a quantity that is not a finite number above zero.
func above(name string, v float64) error {
	if v > 0 && !math.IsInf(v, 1) {
		return nil
	}
	return fmt.Errorf("%s is %v: give a number above 0", name, v)
}

// notBelow refuses a quantity that is not a finite number of at least zero.
func notBelow(name string, v float64) error {
	if v >= 0 && !math.IsInf(v, 1) {
		return nil
	}
	return fmt.Errorf("%s is %v: give 0 or more", name, v)
}

// firstError returns the first error that is set, so that a function can check
// its inputs in one line.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// tidy drops the last bits of a ratio, so that a value meant to lie on a limit
// (1.45 computed as 1.4500000000000002) is judged as lying on it.
func tidy(ratio float64) float64 { return math.Round(ratio*1e9) / 1e9 }
