package catalog

import (
	"cmp"
	"fmt"
	"strings"
)

// Data is the whole catalogue as read from a source, before indexing. RuleFiles
// holds the rules as YAML text by file name: rules are compiled by package rules.
type Data struct {
	Revision    int64
	Currency    string // ISO 4217; every price has it
	Locations   []Location
	Vehicles    []*Vehicle
	Carburetors []*Carburetor
	Parts       []*Part
	Bundles     []*Bundle
	Stock       []Stock
	RuleFiles   map[string]string
}

// Stock is how many packs of a SKU one location has on hand.
type Stock struct {
	SKU      string `json:"sku"`
	Location string `json:"location"`
	OnHand   int    `json:"on_hand"`
}

// Violation is one thing wrong with a value: Pointer (RFC 6901) says where, Detail
// what was found, what is accepted and, where known, how to mend it.
type Violation struct {
	Pointer string `json:"pointer"`
	Detail  string `json:"detail"`
}

// Under puts the violations of a member under its pointer.
func Under(pointer string, found []Violation) []Violation {
	out := make([]Violation, len(found))
	for i, v := range found {
		out[i] = Violation{pointer + v.Pointer, v.Detail}
	}
	return out
}

// InvalidError refuses a value that is well formed but wrong.
type InvalidError struct {
	What       string // "vehicle", "part K4-1"
	Violations []Violation
}

func (e *InvalidError) Error() string {
	parts := make([]string, len(e.Violations))
	for i, v := range e.Violations {
		parts[i] = v.Pointer + ": " + v.Detail
	}
	return fmt.Sprintf("%s is not valid: %s", e.What, strings.Join(parts, "; "))
}

// NotFoundError names something the catalogue does not have and what comes near.
type NotFoundError struct {
	What    string // "carburetor", "vehicle", "part", "rule"
	ID      string
	Near    []string // up to three near spellings
	All     []string // what there is, where that are few
	Where   string   // instead of "in the catalogue", of what is not kept there
	Pointer string   // into the request, when the request named it
}

func (e *NotFoundError) Error() string {
	text := fmt.Sprintf("no %s %q %s", e.What, e.ID, cmp.Or(e.Where, "in the catalogue"))
	if len(e.Near) > 0 {
		text += "; did you mean " + strings.Join(e.Near, ", ") + "?"
	}
	if len(e.All) > 0 {
		text += "; accepted: " + strings.Join(e.All, ", ")
	}
	return text
}
