package httpapi

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// sameAsEncodingJSON holds an answer to the bytes that encoding/json writes.
func sameAsEncodingJSON(t *testing.T, name string, v any) {
	t.Helper()
	var want bytes.Buffer
	enc := json.NewEncoder(&want)
	enc.SetEscapeHTML(false)
	wantErr := enc.Encode(v)
	got := takeBuffer()
	defer got.release()
	if err := got.value(v); (err == nil) != (wantErr == nil) {
		t.Fatalf("%s: %v, want %v", name, err, wantErr)
	}
	if wantErr == nil && !bytes.Equal(got.Bytes(), bytes.TrimSuffix(want.Bytes(), []byte("\n"))) {
		t.Errorf("%s:\n\tgot  %s\n\twant %s", name, got.Bytes(), want.Bytes())
	}
}

// Everything in the demo catalogue, the kit of every pair of it and the golden kits are
// written to the byte as by encoding/json.
func TestAnswersAreEncodedAsByEncodingJSON(t *testing.T) {
	snap := kittest.Demo(t)
	step := 1
	if testing.Short() {
		step = 10
	}
	for n, v := range snap.Catalog.Vehicles() {
		sameAsEncodingJSON(t, v.ID, v)
		sizing, err := kit.Size(snap, v)
		if err != nil {
			t.Fatal(err)
		}
		sameAsEncodingJSON(t, "sizing of "+v.ID, sizing)
		for i, c := range snap.Catalog.Carburetors() {
			if (n+i)%step != 0 {
				continue
			}
			k, err := kit.Resolve(t.Context(), snap, &kit.Request{VehicleID: v.ID, CarburetorSKU: c.SKU, Preferences: kit.Preferences{ShowAll: i/step%2 == 0}})
			if err != nil {
				t.Fatal(err)
			}
			sameAsEncodingJSON(t, v.ID+" with "+c.SKU, k)
		}
	}
	for _, c := range snap.Catalog.Carburetors() {
		sameAsEncodingJSON(t, c.SKU, c)
	}
	for _, p := range snap.Catalog.Parts() {
		sameAsEncodingJSON(t, p.SKU, p)
	}
	for _, b := range snap.Catalog.Bundles() {
		sameAsEncodingJSON(t, b.SKU, b)
	}
	golden, err := filepath.Glob("../../testdata/kits/*.json")
	if err != nil || len(golden) == 0 {
		t.Fatalf("no golden kits: %v", err)
	}
	for _, name := range golden {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var file struct{ Kit kit.Kit }
		if err := json.Unmarshal(text, &file); err != nil || file.Kit.Verdict == "" {
			t.Fatalf("%s holds no kit: %v", name, err)
		}
		sameAsEncodingJSON(t, name, &file.Kit)
	}
}

// FuzzEncode tries texts and figures that no catalogue has.
func FuzzEncode(f *testing.F) {
	for _, text := range []string{"", "plain", `"\/` + "\b\f\n\r\t\x00\x1f\x7f", "<a href='x'>&", "\u2028\u2029 é 語 😀", "\xff\xc3 \xed\xa0\x80", "a text that is longer than thirty-two bytes, with \" at its end\""} {
		for _, figure := range []float64{0, math.Copysign(0, -1), 1e-7, -1e-6, 5.125, 1e20, 1e21, math.MaxFloat64, math.SmallestNonzeroFloat64, math.Inf(1), math.NaN()} {
			f.Add(text, figure, int64(figure))
		}
	}
	f.Fuzz(func(t *testing.T, text string, figure float64, whole int64) {
		sameAsEncodingJSON(t, "kit", &kit.Kit{
			VerdictReasons: []string{text, ""}, CatalogueRevision: whole,
			Vehicle:    &catalog.Vehicle{Make: text, Year: int(whole), Engine: catalog.Engine{DisplacementIn3: figure, RedlineRPM: &figure}},
			Carburetor: &catalog.Carburetor{Offer: catalog.Offer{Name: text}, Ports: []catalog.Port{{ID: text}}, HeightIn: figure},
			Lines:      []kit.Line{{Fills: []string{text}, Contents: []catalog.Amount{{SKU: text, Quantity: int(whole)}}}},
			Checks:     []kit.Check{{Text: text, Value: figure, SI: &kit.SI{Value: figure, Unit: text}, Limit: kit.Limit{AtMost: &figure}}},
			Settings:   []kit.Setting{{What: text, Value: text, Why: text}},
		})
		sameAsEncodingJSON(t, "fault", &Problem{Detail: text, Errors: &[]Fault{{Pointer: &text, Detail: text}}})
		sameAsEncodingJSON(t, "part", &catalog.Part{Offer: catalog.Offer{Name: text}, Form: &catalog.Form{LengthIn: figure,
			Attributes: []catalog.Attr{{Name: "x", Type: catalog.AttrNumber, Value: catalog.Value{Num: figure, Text: text}}, {Name: "y", Value: catalog.Value{Text: text}}}}})
	})
}
