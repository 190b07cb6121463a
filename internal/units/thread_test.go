package units

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Source: SAE J514 / ISO 8434-2, SAE J512 and ASME B1.20.1, every row from memory
// of the published tables; see testdata/reference/README.md.
func TestFlareAndPipeThreadTable(t *testing.T) {
	f, err := os.Open("../../testdata/reference/flare_threads.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	if len(rows) != 1+17 {
		t.Fatalf("%d rows, the table has 17", len(rows)-1)
	}
	for _, row := range rows[1:] {
		cell := func(name string) string {
			i, ok := column[name]
			if !ok {
				t.Fatalf("no column %q", name)
			}
			return row[i]
		}
		where := cell("family") + " " + cell("thread")
		th, err := ParseThread(cell("thread"))
		if err != nil {
			t.Errorf("%s: %v", where, err)
			continue
		}
		if got := strconv.Itoa(int(th.PerInch)); got != cell("threads_per_inch") {
			t.Errorf("%s: %s threads per inch, want %s", where, got, cell("threads_per_inch"))
		}
		tube, err := ParseSize(cell("tube_od_or_pipe_size_in"))
		if err != nil {
			t.Errorf("%s: %v", where, err)
			continue
		}
		if isPipe := cell("family") == "npt"; th.Taper != isPipe {
			t.Errorf("%s: taper %v, want %v", where, th.Taper, isPipe)
		} else if isPipe {
			if th.Major != tube { // a pipe thread is named by its nominal pipe size
				t.Errorf("%s: nominal size %v, want %v", where, th.Major, tube)
			}
		} else {
			major, err := ParseSize(cell("thread_major_in"))
			if err != nil || th.Major != major {
				t.Errorf("%s: major %v, want %v (%v)", where, th.Major, major, err)
			}
			dash, err := ParseSize("-" + cell("dash"))
			if err != nil || dash != tube {
				t.Errorf("%s: dash %v, want tube %v (%v)", where, dash, tube, err)
			}
		}
		back, err := ParseThread(th.String())
		if err != nil || back != th {
			t.Errorf("%s: prints %q, reads back as %v (%v)", where, th, back, err)
		}
	}
}

func TestOneThreadHasManySpellings(t *testing.T) {
	for want, spellings := range map[Thread][]string{
		{Major: Inches(5, 8), PerInch: 18}:              {"5/8-18", "5/8-18 UNF", "5/8-18 unf", "0.625-18", "10/16-18 UNS", " 5/8-18  UNF "},
		{Major: Inches(17, 16), PerInch: 12}:            {"1-1/16-12", "1-1/16-12 UN", "1.0625-12"},
		{Major: Inches(1, 4), PerInch: 18, Taper: true}: {"1/4-18 NPT", "1/4-18 NPTF", "0.25-18 npt"},
		{Major: Inches(1, 1), PerInch: 8}:               {"1-8", "1-8 UNC"},
	} {
		for _, text := range spellings {
			if got, err := ParseThread(text); err != nil || got != want {
				t.Errorf("%q: %v (%v), want %v", text, got, err, want)
			}
		}
	}
}

func TestParseThreadRefuses(t *testing.T) {
	for text, reason := range map[string]string{
		"":                         "no threads per inch",
		"5/8":                      "no threads per inch",
		"-18":                      "no threads per inch",
		"-6-18":                    "names a tube",
		"5/8-":                     "whole number from 3 to 100",
		"5/8-2":                    "whole number from 3 to 100",
		"5/8-101":                  "whole number from 3 to 100",
		"5/8-+18":                  "whole number from 3 to 100",
		"1-11.5 NPT":               "whole number from 3 to 100",
		"5/8-99999999999999999999": "whole number from 3 to 100",
		"0/8-18":                   "above zero",
		"5/0-18":                   "divides by zero",
		"5/8-18 BSPP":              "unknown series",
		"M10-18":                   "where a digit belongs",
	} {
		got, err := ParseThread(text)
		if err == nil {
			t.Errorf("%q: accepted as %v", text, got)
		} else if !strings.Contains(err.Error(), reason) || !strings.Contains(err.Error(), "write nominal size") {
			t.Errorf("%q: error %q lacks %q or the way to mend it", text, err, reason)
		}
		if got != (Thread{}) {
			t.Errorf("%q: refused but gave %v", text, got)
		}
	}
}

func anyThread() *rapid.Generator[Thread] {
	return rapid.Custom(func(t *rapid.T) Thread {
		return Thread{
			Major:   anySize().Draw(t, "major"),
			PerInch: int16(rapid.IntRange(3, 100).Draw(t, "tpi")),
			Taper:   rapid.Bool().Draw(t, "taper"),
		}
	})
}

func TestPropertyThreadReadsBackWhatItPrints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		th := anyThread().Draw(t, "thread")
		back, err := ParseThread(th.String())
		if err != nil || back != th {
			t.Fatalf("%q reads back as %v (%v)", th, back, err)
		}
		blob, err := json.Marshal(th)
		if err != nil {
			t.Fatal(err)
		}
		var fromJSON Thread
		if err := json.Unmarshal(blob, &fromJSON); err != nil || fromJSON != th {
			t.Fatalf("json %s reads back as %v (%v)", blob, fromJSON, err)
		}
	})
}

func TestThreadInJSON(t *testing.T) {
	th := Thread{Major: Inches(1, 4), PerInch: 20}
	if err := json.Unmarshal([]byte(`""`), &th); err != nil || !th.IsZero() || th.String() != "" {
		t.Errorf("empty text: %v (%v)", th, err)
	}
	if err := json.Unmarshal([]byte(`"5/8"`), &th); err == nil {
		t.Error("a thread without a pitch was read")
	}
}

func FuzzParseThread(f *testing.F) {
	for _, s := range []string{"5/8-18", "5/8-18 UNF", "1-1/16-12", "1/4-18 NPT", "-6-18", "", "-", "1-", "5/8-+18", "1-8 \xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		th, err := ParseThread(text)
		if err != nil {
			return
		}
		if th.IsZero() || th.Major.IsZero() {
			t.Fatalf("%q: accepted as %+v", text, th)
		}
		back, err := ParseThread(th.String())
		if err != nil || back != th {
			t.Fatalf("%q prints %q, reads back as %v (%v)", text, th, back, err)
		}
	})
}
