package sheet

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"onetrip/internal/coverage"
)

const hostile = `"'><script>alert(1)</script><img src=x onerror=alert(1)>` + "\u202e" + `=HYPERLINK("x")`

// fill puts text into every string below a value, and one element into every list.
func fill(v reflect.Value, text string) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(text)
	case reflect.Pointer:
		if v.Type().Elem() == reflect.TypeFor[time.Time]() {
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), text)
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 || v.Type().Elem() == reflect.TypeFor[float64]() {
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		fill(v.Index(0), text)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				fill(v.Field(i), text)
			}
		}
	default:
	}
}

// Whatever the texts of a report hold, the page has the elements and attributes that it
// has with harmless ones, and no cell of the CSV is a formula.
func TestTextOfAReportStaysText(t *testing.T) {
	shape := func(text string) (tags []string) {
		r := &coverage.Report{}
		fill(reflect.ValueOf(r).Elem(), text)
		r.Question.TryParts = nil
		var page bytes.Buffer
		if err := Coverage(&page, r); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(page.String(), "\u202e") {
			t.Error("a right-to-left override is on the page unseen")
		}
		z := html.NewTokenizer(&page)
		for z.Next() != html.ErrorToken {
			token := z.Token()
			if token.Type != html.StartTagToken && token.Type != html.SelfClosingTagToken {
				continue
			}
			tag := token.Data
			for _, a := range token.Attr {
				tag += " " + a.Key
			}
			tags = append(tags, tag)
		}
		var table bytes.Buffer
		if err := CoverageCSV(&table, r.Answer); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&table).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			for _, cell := range row {
				if cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) {
					t.Errorf("a cell begins %.10q", cell)
				}
			}
		}
		return tags
	}
	want, got := shape("harmless"), shape(hostile)
	if len(want) < 100 {
		t.Fatalf("only %d elements", len(want))
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("elements\n got %v\nwant %v", got, want)
	}
	if got := shape("=1+1"); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("elements\n got %v\nwant %v", got, want)
	}
}

// A map too large to draw says what it leaves out.
func TestALargeReportSaysWhatItLeavesOut(t *testing.T) {
	a := &coverage.Answer{}
	for i := range mapColumns + 3 {
		a.ByCarburetor = append(a.ByCarburetor, coverage.Carburetor{SKU: fmt.Sprint("SKU-", i)})
	}
	for i := range mapGroups + 5 {
		a.ByVehicle = append(a.ByVehicle, coverage.Class{Vehicles: []string{fmt.Sprintf("vehicle-%d-end", i)}, Weight: int64(i), Cells: strings.Repeat("C", len(a.ByCarburetor))})
	}
	for range pageGaps + 1 {
		a.Gaps = append(a.Gaps, coverage.Gap{Need: "fuel.filter"})
	}
	for range pageParts + 1 {
		a.StockNext.Alone = append(a.StockNext.Alone, coverage.Part{Name: "part"})
	}
	var page bytes.Buffer
	if err := Coverage(&page, &coverage.Report{Status: coverage.Done, Answer: a}); err != nil {
		t.Fatal(err)
	}
	text := page.String()
	for _, want := range []string{
		fmt.Sprintf("The %d vehicle groups of most weight are drawn, of %d", mapGroups, mapGroups+5), fmt.Sprintf("The first %d carburetors are drawn, of %d", mapColumns, mapColumns+3),
		fmt.Sprintf("the first %d of %d", pageGaps, pageGaps+1), fmt.Sprintf("the first %d of %d", pageParts, pageParts+1),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(text, ">vehicle-4-end</text>") || !strings.Contains(text, ">vehicle-5-end</text>") {
		t.Error("the groups of least weight are drawn")
	}
	if got := strings.Count(text, `class="C"`); got != mapColumns*mapGroups+1 { // and one in the legend
		t.Errorf("%d cells", got)
	}
}
