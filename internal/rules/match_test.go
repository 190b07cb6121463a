package rules

import (
	"testing"

	"onetrip/internal/catalog"
)

// What is said of a limit is short, and never lets through what the limit does not.
func TestRoundedTowardsTheSafeSide(t *testing.T) {
	for _, tc := range []struct {
		op    Op
		limit float64
		want  string
	}{
		{AtLeast, 151.33966, "at least 151.4"}, {AtMost, 151.33966, "at most 151.3"}, {AtLeast, 268.6667, "at least 268.7"},
		{AtLeast, 6, "at least 6"}, {AtLeast, 0.0625, "at least 0.0625"}, {AtLeast, 3.26, "at least 3.26"}, {AtLeast, 0.1 + 0.2, "at least 0.3"},
		{AtMost, 12345.6, "at most 12345"}, {AtMost, -3.00001, "at most -3.001"}, {AtLeast, 0, "at least 0"},
	} {
		test := Test{Attr: "flow_gph", Type: catalog.AttrNumber, Op: tc.op, Value: catalog.Value{Num: tc.limit}}
		if got := test.Rounded(); got != tc.want {
			t.Errorf("%v is %q, want %q", tc.limit, got, tc.want)
		}
	}
}
