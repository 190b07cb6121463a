package kit

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// SavedStatus is how far the lines of a saved kit have come.
type SavedStatus string

// Statuses.
const (
	SavedOpen    SavedStatus = "open"    // no line is marked
	SavedPicking SavedStatus = "picking" // some are
	SavedDone    SavedStatus = "done"    // every line is
)

// MarkKind is what has become of a line.
type MarkKind string

// Marks.
const (
	LinePicked      MarkKind = "picked"
	LineDeclined    MarkKind = "declined"
	LineSubstituted MarkKind = "substituted"
)

// Mark is what has become of a line; Substitute is the SKU in its place.
type Mark struct {
	Mark       MarkKind `json:"mark"`
	Substitute string   `json:"substitute,omitempty"`
}

// Patch changes marks by the SKU of their lines; nil takes one off.
type Patch struct {
	Marks map[string]*Mark `json:"marks"`
}

// EventKind is what was done to a saved kit: it was saved, or a line got a mark or lost it.
type EventKind string

// Events.
const (
	KitSaved         EventKind = "saved"
	EventPicked      EventKind = "picked"
	EventDeclined    EventKind = "declined"
	EventSubstituted EventKind = "substituted"
	EventCleared     EventKind = "cleared"
)

// Event is something that was done to a saved kit. By is the name of the key that did it.
type Event struct {
	At         time.Time `json:"at"`
	By         string    `json:"by"`
	What       EventKind `json:"what"`
	SKU        string    `json:"sku,omitempty"` // of the line
	Substitute string    `json:"substitute,omitempty"`
}

// SavedSummary is a saved kit as lists show it. Times are UTC in microseconds. Vehicle is
// year, make and model, else the engine.
type SavedSummary struct {
	Code              string      `json:"code"`
	Status            SavedStatus `json:"status"`
	SavedAt           time.Time   `json:"saved_at"`
	ChangedAt         time.Time   `json:"changed_at"`
	SavedBy           string      `json:"saved_by"`
	VehicleID         string      `json:"vehicle_id,omitempty"`
	Vehicle           string      `json:"vehicle"`
	CarburetorSKU     string      `json:"carburetor_sku"`
	Verdict           Verdict     `json:"verdict"`
	Total             units.Money `json:"total"`
	CatalogueRevision int64       `json:"catalogue_revision"`
}

// Saved is a kit kept under a code. Question and answer are kept as JSON, so that they
// read the same however later versions would write them. Marks and Status follow from
// History.
type Saved struct {
	SavedSummary
	Notice  string          `json:"notice,omitempty"` // when it is not kept for good
	Marks   map[string]Mark `json:"marks"`            // by the line's SKU
	History []Event         `json:"history"`
	Request json.RawMessage `json:"request"`
	Kit     json.RawMessage `json:"kit"`
}

// UnknownCodeError says that no kit is kept under a code, and what else there is to say.
type UnknownCodeError struct{ Code, Detail string }

func (e *UnknownCodeError) Error() string {
	return fmt.Sprintf("no kit has the code %s%s", e.Code, e.Detail)
}

// NewSaved makes of question and answer what is to be kept. Where it is kept adds code and
// times.
func NewSaved(req *Request, k *Kit, by string) (*Saved, error) {
	request, err := asJSON(req)
	if err != nil {
		return nil, err
	}
	answer, err := asJSON(k)
	if err != nil {
		return nil, err
	}
	return &Saved{
		SavedSummary: SavedSummary{
			Status: statusOf(k.Lines, nil), SavedBy: by, VehicleID: k.Vehicle.ID, Vehicle: vehicleLine(k.Vehicle), CarburetorSKU: k.Carburetor.SKU,
			Verdict: k.Verdict, Total: k.Totals.All, CatalogueRevision: k.CatalogueRevision,
		},
		Marks: map[string]Mark{}, Request: request, Kit: answer,
	}, nil
}

// Once makes that a request saves one kit, however often it is sent: Actor's with this
// Key, "" for none. Sum is of its body, SHA-256.
type Once struct {
	Actor, Key string
	Sum        [32]byte
}

// Begin gives a new saved kit its code and the time.
func (sv *Saved) Begin(code string, at time.Time) {
	sv.Code, sv.SavedAt, sv.ChangedAt = code, at, at
	sv.History = []Event{{At: at, By: sv.SavedBy, What: KitSaved}}
}

// asJSON is what the contract's JSON of a value is over HTTP.
func asJSON(v any) (json.RawMessage, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

func vehicleLine(v *catalog.Vehicle) string {
	var words []string
	if v.Year != 0 {
		words = append(words, fmt.Sprint(v.Year))
	}
	for _, word := range []string{v.Make, v.Model} {
		if word != "" {
			words = append(words, word)
		}
	}
	if len(words) == 0 {
		return fmt.Sprintf("%g in³, %d cylinders", v.Engine.DisplacementIn3, v.Engine.Cylinders)
	}
	return strings.Join(words, " ")
}

func statusOf(lines []Line, marks map[string]Mark) SavedStatus {
	switch {
	case len(marks) == len(lines):
		return SavedDone
	case len(marks) == 0:
		return SavedOpen
	}
	return SavedPicking
}

// Read decodes the question and the answer.
func (sv *Saved) Read() (*Request, *Kit, error) {
	req, k := new(Request), new(Kit)
	if err := json.Unmarshal(sv.Request, req); err != nil {
		return nil, nil, fmt.Errorf("request of kit %s: %w", sv.Code, err)
	}
	if err := json.Unmarshal(sv.Kit, k); err != nil {
		return nil, nil, fmt.Errorf("kit %s: %w", sv.Code, err)
	}
	return req, k, nil
}

// MarksOf are the marks that a history leaves.
func MarksOf(history []Event) map[string]Mark {
	marks := map[string]Mark{}
	for _, e := range history {
		switch e.What {
		case KitSaved:
		case EventCleared:
			delete(marks, e.SKU)
		default:
			marks[e.SKU] = Mark{MarkKind(e.What), e.Substitute}
		}
	}
	return marks
}

// AsSaved is a kit as it was when it was saved, before any mark.
func (sv *Saved) AsSaved() (*Saved, error) {
	first := *sv
	first.ChangedAt, first.History, first.Marks = sv.SavedAt, sv.History[:1], map[string]Mark{}
	_, k, err := sv.Read()
	if err != nil {
		return nil, err
	}
	first.Status = statusOf(k.Lines, nil)
	return &first, nil
}

// maxHistory bounds the history of one kit: the contract's.
const maxHistory = 10_000

// Mark changes marks, and adds what changes to the history. What is marked so already
// changes nothing. When substitutes change, all of them are tried together. Errors are
// *catalog.InvalidError with pointers into a Patch, and those of Substitutes.
func (sv *Saved) Mark(ctx context.Context, s *Snapshot, patch *Patch, by string, at time.Time) error {
	req, k, err := sv.Read()
	if err != nil {
		return err
	}
	var bad []catalog.Violation
	var events []Event
	retry := false // substitutes
	lines := byID(k.Lines, func(l *Line) string { return l.SKU })
	for _, sku := range slices.Sorted(maps.Keys(patch.Marks)) {
		pointer, mark, was := markPointer(sku), patch.Marks[sku], sv.Marks[sku]
		e := Event{At: at, By: by, What: EventCleared, SKU: sku}
		if mark != nil {
			e.What, e.Substitute = EventKind(mark.Mark), mark.Substitute
		}
		switch {
		case lines[sku] == nil:
			bad = append(bad, catalog.Violation{Pointer: pointer, Detail: "is not the SKU of a line of this kit" + nearLine(sku, k.Lines)})
		case mark != nil && mark.Mark == LineSubstituted && mark.Substitute == "":
			bad = append(bad, catalog.Violation{Pointer: pointer + "/substitute", Detail: "is missing; give the SKU of the part in the line's place"})
		case mark != nil && mark.Mark != LineSubstituted && mark.Substitute != "":
			bad = append(bad, catalog.Violation{Pointer: pointer + "/substitute", Detail: "goes with the mark substituted only; leave it out"})
		case mark != nil && mark.Substitute == sku:
			bad = append(bad, catalog.Violation{Pointer: pointer + "/substitute", Detail: "is the line itself; mark it picked"})
		case mark != nil && was == *mark, mark == nil && was == Mark{}:
		default:
			retry = retry || e.Substitute != was.Substitute
			events = append(events, e)
		}
	}
	if len(sv.History)+len(events) > maxHistory {
		bad = append(bad, catalog.Violation{Pointer: "/marks", Detail: fmt.Sprintf("the history of the kit would pass %d entries; save the kit anew and go on with that", maxHistory)})
	}
	history := append(slices.Clip(sv.History), events...)
	marks := MarksOf(history)
	if retry && len(bad) == 0 {
		if bad, err = substituteFaults(ctx, s, req, k, marks); err != nil {
			return err
		}
	}
	if len(bad) > 0 {
		return &catalog.InvalidError{What: "patch", Violations: bad}
	}
	if len(events) > 0 {
		sv.History, sv.Marks, sv.Status, sv.ChangedAt = history, marks, statusOf(k.Lines, marks), at
	}
	return nil
}

// markPointer points at the mark of a line (RFC 6901; a SKU may hold anything in a request).
func markPointer(sku string) string {
	return "/marks/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(sku)
}

func nearLine(sku string, lines []Line) string {
	skus := make([]string, len(lines))
	for i, l := range lines {
		skus[i] = l.SKU
	}
	if near := catalog.Near(sku, skus, 1); len(near) > 0 {
		return "; did you mean " + near[0] + "?"
	}
	return "; kit/lines lists them"
}

// substituteFaults tries all substitutes of a kit.
func substituteFaults(ctx context.Context, s *Snapshot, req *Request, k *Kit, marks map[string]Mark) ([]catalog.Violation, error) {
	instead := map[string]string{}
	for sku, m := range marks {
		if m.Mark == LineSubstituted {
			instead[sku] = m.Substitute
		}
	}
	if len(instead) == 0 {
		return nil, nil
	}
	reasons, err := Substitutes(ctx, s, req, k, instead)
	var missing *catalog.NotFoundError
	var invalid *catalog.InvalidError
	if errors.As(err, &missing) || errors.As(err, &invalid) {
		return []catalog.Violation{{Pointer: "/marks", Detail: fmt.Sprintf("whether a substitute fits cannot be found out any more, since the kit's question cannot be asked again: %v; save a new kit", err)}}, nil
	}
	var bad []catalog.Violation
	for _, sku := range slices.Sorted(maps.Keys(reasons)) {
		bad = append(bad, catalog.Violation{Pointer: markPointer(sku) + "/substitute",
			Detail: fmt.Sprintf("%s does not fit in place of %s: %s", instead[sku], sku, strings.Join(reasons[sku], "; "))})
	}
	return bad, err
}

// SavedFilter asks for saved kits, newest first: those that meet everything that is set,
// Words in the vehicle's id or line, in either case; at most Limit, behind After.
type SavedFilter struct {
	Status       SavedStatus
	VehicleID    string
	Words        []string
	From, Before time.Time
	After        *SavedSummary // SavedAt and Code count
	Limit        int
}
