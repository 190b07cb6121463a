package kit

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// ChangeKind is what differs between two kits.
type ChangeKind string

// Kinds of change, in the order in which they are listed.
const (
	VerdictChange    ChangeKind = "verdict"
	QuestionChange   ChangeKind = "question"   // it can no longer be asked as it was
	VehicleChange    ChangeKind = "vehicle"    // its record in the catalogue
	CarburetorChange ChangeKind = "carburetor" // its record in the catalogue
	NeedChange       ChangeKind = "need"       // there now, or no longer
	LevelChange      ChangeKind = "level"      // of a need
	StatusChange     ChangeKind = "status"     // of a need
	RuleChange       ChangeKind = "rule"       // a reason for a need
	PartChange       ChangeKind = "part"       // a line is new, gone, or another in its place
	QuantityChange   ChangeKind = "quantity"   // of a line, or of a need
	PriceChange      ChangeKind = "price"      // of a line or the carburetor
	StockChange      ChangeKind = "stock"      // of a line
	CheckChange      ChangeKind = "check"      // its outcome
	CautionChange    ChangeKind = "caution"
	TotalChange      ChangeKind = "total" // required, recommended, optional or all
)

// Change is one difference between two kits. Subject is the id of what differs: the SKU
// of a line, the id of a need, rule, check or caution, the name of a total, or a JSON
// pointer into a vehicle or carburetor. Before is empty for what is new, After for what
// is gone. Delta is set where money changes. Text is the whole in one sentence.
type Change struct {
	Kind    ChangeKind   `json:"kind"`
	Subject string       `json:"subject"`
	Before  string       `json:"before,omitempty"`
	After   string       `json:"after,omitempty"`
	Delta   *units.Money `json:"delta,omitempty"`
	Text    string       `json:"text"`
}

// Compare lists what differs from one kit to another of the same question: at another
// revision of the catalogue, or under other rules. Starting settings, tools, alternatives
// and proof follow from the rest and are not listed.
func Compare(before, after *Kit) []Change {
	c := comparison{changes: []Change{}}
	if before.Verdict != after.Verdict {
		c.add(VerdictChange, "verdict", string(before.Verdict), string(after.Verdict), "The verdict was %s, is %s.", before.Verdict, after.Verdict)
	}
	c.carburetor(before.Carburetor, after.Carburetor)
	c.needs(before.Needs, after.Needs)
	c.rules(reasons(before.Needs), reasons(after.Needs))
	c.lines(before.Lines, after.Lines)
	c.checks(before.Checks, after.Checks)
	c.cautions(before.Cautions, after.Cautions)
	for _, t := range []struct {
		name          string
		before, after units.Money
	}{
		{"required", before.Totals.Required, after.Totals.Required},
		{"recommended", before.Totals.Recommended, after.Totals.Recommended},
		{"optional", before.Totals.Optional, after.Totals.Optional},
		{"all", before.Totals.All, after.Totals.All},
	} {
		c.money(TotalChange, t.name, t.before, t.after, fmt.Sprintf("The total of %s lines", t.name))
	}
	return inOrder(c.changes)
}

// Since resolves the question of a kit again, for the vehicle as it was, and lists what
// differs today: what Compare lists, what has become of the vehicle's record where the
// question named one, and why parts have gone. A question that can no longer be asked,
// since what it names is gone, is a change too, and then the only one beside those.
func Since(ctx context.Context, s *Snapshot, req *Request, before *Kit) ([]Change, error) {
	c := comparison{changes: []Change{}}
	if req.VehicleID != "" {
		c.vehicle(s.Catalog, req.VehicleID, before.Vehicle)
	}
	again := *req
	again.Vehicle, again.VehicleID = before.Vehicle, ""
	after, err := Resolve(ctx, s, &again)
	var missing *catalog.NotFoundError
	var invalid *catalog.InvalidError
	switch {
	case errors.As(err, &missing):
		c.add(QuestionChange, missing.Pointer, missing.ID, "", "The question cannot be asked as it was: %v.", strings.TrimSuffix(missing.Error(), "?"))
	case errors.As(err, &invalid):
		for _, v := range invalid.Violations {
			c.add(QuestionChange, v.Pointer, "", "", "The question cannot be asked as it was: %s %s.", v.Pointer, strings.TrimSuffix(v.Detail, "?"))
		}
	case err != nil:
		return nil, err
	default:
		for _, change := range Compare(before, after) {
			if i := slices.IndexFunc(before.Lines, func(l Line) bool { return change.Kind == PartChange && l.SKU == change.Before }); i >= 0 {
				change.Text += goneBecause(s.Catalog, &before.Lines[i])
			}
			c.changes = append(c.changes, change)
		}
	}
	return inOrder(c.changes), nil
}

// goneBecause says what has become of a line that is not chosen any more.
func goneBecause(cat *catalog.Snapshot, l *Line) string {
	switch o := cat.Offer(l.SKU); {
	case o == nil:
		return " It has left the catalogue."
	case o.Discontinued && o.ReplacedBy != "":
		return " It is discontinued, replaced by " + o.ReplacedBy + "."
	case o.Discontinued:
		return " It is discontinued."
	case o.Price != l.UnitPrice:
		return fmt.Sprintf(" Its price was %s, is %s.", l.UnitPrice, o.Price)
	}
	return ""
}

func (c *comparison) vehicle(cat *catalog.Snapshot, id string, was *catalog.Vehicle) {
	is, err := cat.Vehicle(id)
	if err != nil {
		c.add(VehicleChange, "/id", id, "", "Vehicle %s has left the catalogue; it is compared as it was.", id)
		return
	}
	c.fields(VehicleChange, "Vehicle "+id+", which is compared as it was", was, is)
}

func inOrder(changes []Change) []Change {
	slices.SortStableFunc(changes, func(a, b Change) int { return changeRank[a.Kind] - changeRank[b.Kind] })
	return changes
}

var changeRank = func() map[ChangeKind]int {
	rank := map[ChangeKind]int{}
	for i, k := range []ChangeKind{VerdictChange, QuestionChange, VehicleChange, CarburetorChange, NeedChange, LevelChange, StatusChange, RuleChange,
		PartChange, QuantityChange, PriceChange, StockChange, CheckChange, CautionChange, TotalChange} {
		rank[k] = i
	}
	return rank
}()

// comparison collects changes.
type comparison struct{ changes []Change }

func (c *comparison) add(kind ChangeKind, subject, before, after, format string, args ...any) {
	c.changes = append(c.changes, Change{Kind: kind, Subject: subject, Before: before, After: after, Text: fmt.Sprintf(format, args...)})
}

func (c *comparison) money(kind ChangeKind, subject string, before, after units.Money, what string) {
	if before == after {
		return
	}
	c.add(kind, subject, before.String(), after.String(), "%s was %s, is %s.", what, before, after)
	c.changes[len(c.changes)-1].Delta = &units.Money{AmountMinor: after.AmountMinor - before.AmountMinor, Currency: after.Currency}
}

func (c *comparison) carburetor(before, after *catalog.Carburetor) {
	was, is := *before, *after
	was.Price, is.Price = units.Money{}, units.Money{}
	c.fields(CarburetorChange, "Carburetor "+after.SKU, &was, &is)
	c.money(PriceChange, after.SKU, before.Price, after.Price, "The price of carburetor "+after.SKU)
}

// fields lists the members of two records that differ, by JSON pointer.
func (c *comparison) fields(kind ChangeKind, what string, before, after any) {
	was, is := members(before), members(after)
	for _, pointer := range union(was, is) {
		if was[pointer] != is[pointer] {
			c.add(kind, pointer, was[pointer], is[pointer], "%s: %s was %s, is %s.", what, pointer, stated(was[pointer]), stated(is[pointer]))
		}
	}
}

func stated(value string) string {
	if value == "" {
		return "not stated"
	}
	return value
}

// members are the values of a noun of the catalogue by JSON pointer.
func members(noun any) map[string]string {
	text, err := json.Marshal(noun)
	if err != nil { // nouns of the catalogue always marshal
		panic(err)
	}
	var value any
	if err := json.Unmarshal(text, &value); err != nil {
		panic(err)
	}
	found := map[string]string{}
	var visit func(at string, v any)
	visit = func(at string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for name, member := range v {
				visit(at+"/"+name, member)
			}
		case []any:
			for i, item := range v {
				visit(fmt.Sprintf("%s/%d", at, i), item)
			}
		default:
			found[at] = fmt.Sprint(v)
		}
	}
	visit("", value)
	return found
}

// union is the keys of two maps in order.
func union[V any](a, b map[string]V) []string {
	keys := slices.Collect(maps.Keys(a))
	for k := range b {
		if _, both := a[k]; !both {
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	return keys
}

// byID is a list as a map.
func byID[T any](list []T, id func(*T) string) map[string]*T {
	m := make(map[string]*T, len(list))
	for i := range list {
		m[id(&list[i])] = &list[i]
	}
	return m
}

func (c *comparison) needs(before, after []Need) {
	id := func(n *Need) string { return n.ID }
	was, is := byID(before, id), byID(after, id)
	for _, need := range union(was, is) {
		b, a := was[need], is[need]
		switch {
		case b == nil:
			c.add(NeedChange, need, "", string(a.Level), "%s is needed now, %s.", need, a.Level)
			continue
		case a == nil:
			c.add(NeedChange, need, string(b.Level), "", "%s is no longer needed; it was %s.", need, b.Level)
			continue
		}
		if b.Level != a.Level {
			c.add(LevelChange, need, string(b.Level), string(a.Level), "%s was %s, is %s.", need, b.Level, a.Level)
		}
		if b.Status != a.Status {
			c.add(StatusChange, need, string(b.Status), string(a.Status), "%s was %s, is %s.", need, b.Status, a.Status)
		}
		if b.Quantity != a.Quantity || b.Unit != a.Unit {
			was, is := fmt.Sprintf("%g %s", b.Quantity, b.Unit), fmt.Sprintf("%g %s", a.Quantity, a.Unit)
			c.add(QuantityChange, need, was, is, "%s: the quantity was %s, is %s.", need, was, is)
		}
	}
}

// reasons are the texts of each rule that fired for a need, with the source it names.
func reasons(needs []Need) map[string]string {
	texts := map[string]string{}
	for _, n := range needs {
		for _, b := range n.Because {
			if texts[b.Rule] != "" {
				texts[b.Rule] += " "
			}
			texts[b.Rule] += fmt.Sprintf("%s: %s (%s)", n.ID, b.Text, b.Source)
		}
	}
	return texts
}

func (c *comparison) rules(was, is map[string]string) {
	for _, rule := range union(was, is) {
		switch b, a := was[rule], is[rule]; {
		case b == a:
		case b == "":
			c.add(RuleChange, rule, b, a, "Rule %s applies now. %s", rule, a)
		case a == "":
			c.add(RuleChange, rule, b, a, "Rule %s no longer applies. It said: %s", rule, b)
		default:
			c.add(RuleChange, rule, b, a, "Rule %s says now: %s It said: %s", rule, a, b)
		}
	}
}

func (c *comparison) lines(before, after []Line) {
	sku := func(l *Line) string { return l.SKU }
	was, is := byID(before, sku), byID(after, sku)
	replacing := map[string]bool{}
	for _, b := range before {
		if is[b.SKU] != nil {
			continue
		}
		var instead []string
		for _, a := range after {
			if was[a.SKU] == nil && slices.ContainsFunc(a.Fills, func(need string) bool { return slices.Contains(b.Fills, need) }) {
				instead = append(instead, a.SKU)
				replacing[a.SKU] = true
			}
		}
		text := fmt.Sprintf("%s, %s, is no longer on the list", b.SKU, b.Name)
		if len(instead) > 0 {
			text += "; in its place: " + strings.Join(instead, ", ")
		}
		c.add(PartChange, b.SKU, b.SKU, strings.Join(instead, ", "), "%s.", text)
	}
	for _, a := range after {
		b := was[a.SKU]
		if b == nil {
			if !replacing[a.SKU] {
				c.add(PartChange, a.SKU, "", a.SKU, "%s, %s, is on the list now, for %s.", a.SKU, a.Name, strings.Join(a.Fills, ", "))
			}
			continue
		}
		if b.Quantity != a.Quantity {
			c.add(QuantityChange, a.SKU, fmt.Sprint(b.Quantity), fmt.Sprint(a.Quantity), "%s: %d were on the list, %d are.", a.SKU, b.Quantity, a.Quantity)
		}
		c.money(PriceChange, a.SKU, b.UnitPrice, a.UnitPrice, "The price of "+a.SKU)
		if was, is := b.Stock.text(), a.Stock.text(); was != is {
			c.add(StockChange, a.SKU, was, is, "The stock of %s was %s, is %s.", a.SKU, was, is)
		}
	}
}

func (s *LineStock) text() string {
	if s.Enough {
		return fmt.Sprint(s.OnHand)
	}
	return fmt.Sprintf("%d, too few", s.OnHand)
}

func (c *comparison) checks(before, after []Check) {
	id := func(k *Check) string { return k.ID }
	was, is := byID(before, id), byID(after, id)
	for _, check := range union(was, is) {
		switch b, a := was[check], is[check]; {
		case b == nil:
			c.add(CheckChange, check, "", string(a.Outcome), "Check %s is new: %s, %s", check, a.Outcome, a.Text)
		case a == nil:
			c.add(CheckChange, check, string(b.Outcome), "", "Check %s is no longer made; it was %s.", check, b.Outcome)
		case b.Outcome != a.Outcome:
			c.add(CheckChange, check, string(b.Outcome), string(a.Outcome), "Check %s was %s, is %s: %s", check, b.Outcome, a.Outcome, a.Text)
		}
	}
}

func (c *comparison) cautions(before, after []Caution) {
	id := func(k *Caution) string { return k.ID }
	was, is := byID(before, id), byID(after, id)
	for _, caution := range union(was, is) {
		switch b, a := was[caution], is[caution]; {
		case b == nil:
			c.add(CautionChange, caution, "", a.Text, "New caution: %s", a.Text)
		case a == nil:
			c.add(CautionChange, caution, b.Text, "", "This caution no longer applies: %s", b.Text)
		case b.Text != a.Text:
			c.add(CautionChange, caution, b.Text, a.Text, "The caution says now: %s", a.Text)
		}
	}
}
