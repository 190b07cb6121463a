package fit

import (
	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// FuelQuery asks for the chain of parts that brings fuel From the end of the
// vehicle's supply line To the carburetor inlet over RunLengthIn inches.
//
// The functions return the parts that rules allow and that have an end which mates
// with the given one (Clamps: that close on a hose of the given bore).
// InletFittings are asked for the fitting that enters the inlet, Fittings for all
// others. Fuel flows through filters and regulators from their first end to their
// second; fittings are turned either way.
type FuelQuery struct {
	From, To      catalog.End
	RunLengthIn   float64
	NeedRegulator bool
	Fittings      func(end catalog.End) []Candidate
	InletFittings func(end catalog.End) []Candidate
	Filters       func(end catalog.End) []Candidate
	Regulators    func(end catalog.End) []Candidate
	Hoses         func(end catalog.End) []Candidate
	Clamps        func(hose units.Size) []Candidate
	That          string // what rules demand of the parts, for the sentence of a Gap: "that withstands 14 psi"
}

// Step is one part of a fuel path with the ends that fuel enters and leaves by.
// LengthIn is the cut length of a hose, the part's own length elsewhere.
type Step struct {
	Need     string
	Part     *catalog.Part
	From, To catalog.End
	LengthIn float64
}

// FuelOption is one fuel path: Steps from the line to the inlet (clamps are only in
// Uses). HoseBoreIn is the narrowest hose in it.
type FuelOption struct {
	Option
	Steps      []Step
	HoseBoreIn float64
}
