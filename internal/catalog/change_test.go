package catalog

import "testing"

func TestPreconditions(t *testing.T) {
	for _, c := range []struct {
		pre  Precondition
		etag string
		want bool
	}{
		{Precondition{}, "", true},
		{Precondition{}, "a", true},
		{Precondition{IfMatch: []string{"a"}}, "a", true},
		{Precondition{IfMatch: []string{"b", "a.stock"}}, "a", true},
		{Precondition{IfMatch: []string{"*"}}, "a", true},
		{Precondition{IfMatch: []string{"*"}}, "", false},
		{Precondition{IfMatch: []string{"a"}}, "b", false},
		{Precondition{IfMatch: []string{""}}, "", false},
		{Precondition{IfMatch: []string{".stock"}}, "a", false},
		{Precondition{IfNoneMatch: true}, "", true},
		{Precondition{IfNoneMatch: true}, "a", false},
		{Precondition{IfNoneMatch: true, IfMatch: []string{"a"}}, "a", false},
	} {
		if got := c.pre.Holds(c.etag); got != c.want {
			t.Errorf("%+v on %q: %v", c.pre, c.etag, got)
		}
	}
}

func TestETagsDifferWithTheContentAlone(t *testing.T) {
	a, b := Location{ID: "a", Name: "x"}, Location{ID: "a", Name: "x"}
	if ETag(a) != ETag(&b) {
		t.Error("equal things have different ETags")
	}
	if b.Name = "y"; ETag(a) == ETag(b) {
		t.Error("different things have one ETag")
	}
}
