package fit

import (
	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// StackRole is one layer of the stack: with Asked one of the Candidates must be in it.
type StackRole struct {
	Asked      bool
	Candidates []Candidate
}

// StackQuery asks what goes between manifold flange and hood, lowest first:
// a gasket of the manifold's flange when there is an adapter, the adapter, a gasket,
// the spacer (each of the two with its gasket), the carburetor, neck adapter,
// cleaner gasket, cleaner. Lengths in inches.
type StackQuery struct {
	HoodClearanceIn    float64
	CarburetorHeightIn float64
	OwnCleanerHeightIn float64
	StudLengthIn       *float64      // free length of the vehicle's studs; nil: unknown
	StudThread         *units.Thread // nil: unknown

	Adapter        StackRole
	BaseGasket     StackRole // of the carburetor's flange: under the carburetor, and under a spacer
	ManifoldGasket StackRole // of the manifold's flange: under an adapter; ignored without one
	Spacer         StackRole
	Studs          StackRole // Asked is ignored: studs are taken when the vehicle's own are unknown or short
	NeckAdapter    StackRole // with the vehicle's own cleaner; a low-profile one is taken to fit the carburetor's neck
	CleanerGasket  StackRole
	LowProfile     StackRole // Asked is ignored: alternatives to the vehicle's own cleaner
}

// Layer is one piece of a stack.
type Layer struct {
	Item     string // base gasket, adapter plate, ...
	Part     *catalog.Part
	HeightIn float64
}

// StackOption is one stack: Layers lowest first, their sum, what is left to the hood
// and the free stud length it takes.
type StackOption struct {
	Option
	Layers       []Layer
	TotalIn      float64
	MarginIn     float64 // hood clearance less TotalIn
	StudNeededIn float64
}

// StackFigures are the figures before parts are chosen, see rules.Calc.
type StackFigures struct {
	TallestIn, ShortestIn          float64
	HoodMarginIn, BareHoodMarginIn float64
	StudNeededIn                   float64
	StudsSuffice                   bool
	AirStudNeededIn                float64
}
