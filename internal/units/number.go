package units

import (
	"strconv"
	"strings"
)

// Number prints a figure for people: at most four decimals, as many as the figures of
// a kit have, without trailing zeros.
func Number(v float64) string {
	text := strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(v, 'f', 4, 64), "0"), ".")
	if text == "-0" {
		return "0"
	}
	return text
}

// Short prints five significant digits, for figures that stand beside the one meant.
func Short(v float64) string { return strconv.FormatFloat(v, 'g', 5, 64) }
