// Package kit is the resolver: Resolve answers what a carburetor swap needs, whether
// the pieces join, which parts to pick and what is missing. The types in this file
// are the contract's Kit; openapi.yaml describes every field.
//
// To read it, begin with resolve.go, the whole in the order of the job: figures.go computes,
// needs.go makes demands of what rules raise, selection.go states the choice and has it
// solved, answer.go writes the kit with checks.go, advice.go and missing.go. What may be
// chosen is found in groups.go: offers.go for a demand by itself, layer.go for the mounting
// stack, elsewhere.go for what the fuel path shares with the rest; bundles.go and
// dominance.go leave out the bundles and parts that no kit can want. snapshot.go is what
// jobs start from, scratch.go the memory they use.
//
// Many kits: sweep.go, with classes.go, share.go and rows.go; shortage.go and measure.go for
// what to stock; trial.go, lint.go and explain.go for authors of rules. A kit afterwards:
// saved.go, code.go, compare.go, substitute.go, counter.go; reading.go for people. sizing.go is apart.
package kit

import (
	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Request asks for the kit of one vehicle and one carburetor. Vehicle is given, or
// named by VehicleID.
type Request struct {
	Vehicle       *catalog.Vehicle `json:"vehicle,omitempty"`
	VehicleID     string           `json:"vehicle_id,omitempty"`
	CarburetorSKU string           `json:"carburetor_sku"`
	OnHand        []OnHand         `json:"on_hand,omitempty"`
	Preferences   Preferences      `json:"preferences,omitzero"`
}

// OnHand is something the owner already has: whatever meets a need, or pieces of a SKU.
type OnHand struct {
	Need     string `json:"need,omitempty"`
	SKU      string `json:"sku,omitempty"`
	Quantity int    `json:"quantity,omitempty"` // pieces of a SKU, of hose and wire lengths as sold; of a need inches of these; 0 with a need: all of it
}

// Objective is what selection minimises.
type Objective string

// Objectives.
const (
	ByPrice  Objective = "price"  // least money
	ByStock  Objective = "stock"  // fewest lines not in stock at the location, then money
	ByFewest Objective = "fewest" // fewest SKUs, then money
)

// Level is how much a need matters.
type Level string

// Levels, most important first.
const (
	Required    Level = "required"
	Recommended Level = "recommended"
	Optional    Level = "optional"
)

// Preferences steer selection. Empty fields mean: price, no finish, any location,
// required and recommended, the catalogue's currency.
type Preferences struct {
	Objective Objective      `json:"objective,omitempty"`
	Finish    catalog.Finish `json:"finish,omitempty"`
	Location  string         `json:"location,omitempty"`
	Levels    []Level        `json:"levels,omitempty"`
	Declined  []string       `json:"declined,omitempty"` // need ids the owner does not want
	Currency  string         `json:"currency,omitempty"`
	ShowAll   bool           `json:"show_all,omitempty"` // list needs that are not needed too
}

// Verdict is the answer in a word.
type Verdict string

// Verdicts.
const (
	Complete             Verdict = "complete"
	CompleteWithWarnings Verdict = "complete_with_warnings"
	Incomplete           Verdict = "incomplete"
	Unsuitable           Verdict = "unsuitable"
)

// Kit is the answer.
type Kit struct {
	Verdict           Verdict             `json:"verdict"`
	VerdictReasons    []string            `json:"verdict_reasons"` // one sentence each, most serious first
	CatalogueRevision int64               `json:"catalogue_revision"`
	Vehicle           *catalog.Vehicle    `json:"vehicle"`
	Carburetor        *catalog.Carburetor `json:"carburetor"`
	Needs             []Need              `json:"needs"`
	Lines             []Line              `json:"lines"`
	Missing           []Missing           `json:"missing"`
	Checks            []Check             `json:"checks"`
	FuelPath          []PathStep          `json:"fuel_path"`
	VacuumPorts       []PortUse           `json:"vacuum_ports"`
	Stack             []StackItem         `json:"stack"`
	Settings          []Setting           `json:"settings"`
	Tools             []Tool              `json:"tools"`
	Cautions          []Caution           `json:"cautions"`
	Questions         []Question          `json:"questions"`
	Totals            Totals              `json:"totals"`
	Alternatives      []Alternative       `json:"alternatives"`
	Proof             Proof               `json:"proof"`
}

// Status is how a need is met.
type Status string

// Statuses.
const (
	Filled     Status = "filled"
	InTheBox   Status = "in_box"
	OnTheShelf Status = "on_hand"
	NotThere   Status = "missing"
	OutOfStock Status = "out_of_stock"
	Declined   Status = "declined"  // in the request's preferences
	NotAsked   Status = "not_asked" // of a level that the request does not ask for
	NotNeeded  Status = "not_needed"
)

// Need is one thing the swap requires and how it is met.
type Need struct {
	ID       string    `json:"id"`
	Level    Level     `json:"level"`
	Status   Status    `json:"status"`
	Quantity float64   `json:"quantity"`
	Unit     string    `json:"unit"` // each, or inch for hose and wire
	Because  []Because `json:"because"`
	Lines    []string  `json:"lines"` // SKUs of lines that fill it
	AtHand   []AtHand  `json:"at_hand,omitempty"`
}

// Place is where something is that the owner has already.
type Place string

// Places.
const (
	Box   Place = "box"   // the carburetor's
	Shelf Place = "shelf" // the owner's
)

// AtHand is how much of a need is had already. SKU is empty where only the need is named.
type AtHand struct {
	From     Place   `json:"from"`
	SKU      string  `json:"sku,omitempty"`
	Quantity float64 `json:"quantity"` // in the need's unit
}

// Because is the rule that raised a need and its reason with the values in it.
type Because struct {
	Rule   string `json:"rule"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// Line is one SKU to buy: Quantity packs.
type Line struct {
	SKU       string           `json:"sku"`
	Name      string           `json:"name"`
	Quantity  int              `json:"quantity"`
	UnitPrice units.Money      `json:"unit_price"`
	Amount    units.Money      `json:"amount"`
	Fills     []string         `json:"fills"`
	Contents  []catalog.Amount `json:"contents,omitempty"` // of a bundle
	Finish    catalog.Finish   `json:"finish"`
	Stock     LineStock        `json:"stock"`
}

// LineStock is stock at the preferred location, or in all locations together when
// none is preferred. Elsewhere lists the other locations that have some.
type LineStock struct {
	OnHand       int                  `json:"on_hand"`
	Location     string               `json:"location"` // "" for all together
	Enough       bool                 `json:"enough"`
	Elsewhere    []catalog.StockLevel `json:"elsewhere"`
	LeadTimeDays int                  `json:"lead_time_days"`
}

// Severity is how bad it is that something is missing.
type Severity string

// Severities.
const (
	Blocking Severity = "blocking"
	Serious  Severity = "serious"
	Minor    Severity = "minor"
)

// Missing is a need that nothing meets.
type Missing struct {
	Need     string    `json:"need"`
	Severity Severity  `json:"severity"`
	Reason   string    `json:"reason"`
	Nearest  []Nearest `json:"nearest"` // up to three
}

// Nearest is a part that almost meets a need and each attribute it fails.
type Nearest struct {
	SKU   string   `json:"sku"`
	Name  string   `json:"name"`
	Fails []string `json:"fails"`
}

// Outcome of a check.
type Outcome string

// Outcomes.
const (
	Pass Outcome = "pass"
	Warn Outcome = "warn"
	Fail Outcome = "fail"
	Info Outcome = "info"
)

// Check is a computed figure against its limit. A pass is arithmetic, not a
// guarantee of safety.
type Check struct {
	ID      string  `json:"id"`
	Outcome Outcome `json:"outcome"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	SI      *SI     `json:"si,omitempty"`
	Limit   Limit   `json:"limit"`
	Formula string  `json:"formula"`
	Inputs  Inputs  `json:"inputs"` // names carry units
	Source  string  `json:"source"`
	Text    string  `json:"text"`
}

// SI is the same figure in SI units.
type SI struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// Limit bounds a check's value; nil means no bound on that side.
type Limit struct {
	AtLeast *float64 `json:"at_least,omitempty"`
	AtMost  *float64 `json:"at_most,omitempty"`
}

// PathStep is one part of the fuel path in order from the supply line to the inlet.
type PathStep struct {
	SKU      string      `json:"sku"`
	Name     string      `json:"name"`
	FromEnd  catalog.End `json:"from_end"`
	ToEnd    catalog.End `json:"to_end"`
	LengthIn float64     `json:"length_in"`
}

// PortUse is what one vacuum port is for.
type PortUse struct {
	Port     string               `json:"port"`
	Location catalog.PortLocation `json:"location"`
	Signal   catalog.Signal       `json:"signal"`
	Use      string               `json:"use"`              // pcv, booster, advance, modulator, purge, egr, cruise, cap, plug
	Shared   []string             `json:"shared,omitempty"` // further users through a tee
	HoseIn   string               `json:"hose_in"`          // size of the hose or cap, or of the plug's pipe thread
	Text     string               `json:"text"`
}

// StackItem is one layer between the manifold flange and the hood, lowest first.
type StackItem struct {
	Item     string  `json:"item"`
	SKU      string  `json:"sku,omitempty"`
	HeightIn float64 `json:"height_in"`
}

// Setting is a starting point for adjustment.
type Setting struct {
	What  string `json:"what"`
	Value string `json:"value"`
	Why   string `json:"why"`
}

// Tool is needed to fit the kit.
type Tool struct {
	Name string `json:"name"`
	For  string `json:"for"`
}

// Caution is a warning to show with the kit.
type Caution struct {
	ID     string `json:"id"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// Question asks for a field that was not given and says what the answer decides.
type Question struct {
	Field string `json:"field"` // JSON pointer into the request
	Text  string `json:"text"`
}

// Totals add up line amounts by the most important level of what a line fills, and
// everything.
type Totals struct {
	Required    units.Money `json:"required"`
	Recommended units.Money `json:"recommended"`
	Optional    units.Money `json:"optional"`
	All         units.Money `json:"all"`
}

// Alternative is the optimum of another objective and how its lines differ.
type Alternative struct {
	Objective string       `json:"objective"` // price, stock, bright
	Total     units.Money  `json:"total"`
	Delta     units.Money  `json:"delta"`     // total less this kit's total
	Available bool         `json:"available"` // every line in stock
	Optimal   bool         `json:"optimal"`   // proven, as in Proof
	Changes   []LineChange `json:"changes"`
}

// LineChange is one SKU whose quantity differs from this kit's lines.
type LineChange struct {
	SKU   string      `json:"sku"`
	Name  string      `json:"name"`
	From  int         `json:"from_quantity"`
	To    int         `json:"to_quantity"`
	Delta units.Money `json:"delta"`
	Fills []string    `json:"fills,omitempty"` // of the alternative stock, what a line in stock serves, where this kit is short of stock
}

// Proof tells how sure selection is: with Optimal, nothing cheaper exists under the
// objective and LowerBound equals the cost found. Else LowerBound is what kits of no more
// lines cost at least, 0 where that is not known.
type Proof struct {
	Optimal    bool        `json:"optimal"`
	Cost       units.Money `json:"cost"` // the total, and FinishMismatchMinor for each place of a part in another finish than asked
	LowerBound units.Money `json:"lower_bound"`
	Nodes      int64       `json:"nodes"`
}
