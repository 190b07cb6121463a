//go:build e2e

package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"onetrip/internal/kit"
)

func TestGuideCounter(t *testing.T) {
	g := guide(t, "A counter terminal, with curl", "kits")
	printed := g.follow()
	read := func(name string) string {
		t.Helper()
		text, err := os.ReadFile(filepath.Join(g.dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	var marked kit.Saved
	if err := json.Unmarshal([]byte(read("marked.json")), &marked); err != nil {
		t.Fatal(err)
	}
	if read("saved.json") != read("kit.json") || marked.Verdict != kit.Complete || marked.SavedBy != "guide" || marked.Marks["FOZ-2A83"].Mark != kit.LinePicked || marked.Status != kit.SavedPicking {
		t.Errorf("saved:\n%s\nscanned back:\n%s\nmarked by %s: %v", read("saved.json"), read("kit.json"), marked.SavedBy, marked.Marks)
	}
	if sheet := read("sheet.html"); !strings.Contains(sheet, marked.Code) || !strings.Contains(sheet, "FOZ-2A83") {
		t.Error("the sheet has not the code or not the part")
	}
	if list := read("pick-list.csv"); !strings.HasPrefix(list, "row,quantity,sku,") || !strings.Contains(list, "FOZ-2A83") {
		t.Errorf("the pick list is\n%s", list)
	}
	if !strings.Contains(printed, `"code":"`+marked.Code+`","saved_revision"`) || !strings.Contains(printed, `"changes":[]`) {
		t.Errorf("nothing has changed, but printed was\n%s", printed)
	}
}
