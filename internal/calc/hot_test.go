package calc

import (
	"testing"

	"onetrip/internal/units"
)

var (
	hotJets = []float64{0.068, 0.070, 0.071, 0.072, 0.073, 0.074, 0.075, 0.077, 0.079, 0.083, 0.086, 0.089}
	hotRods = []float64{0.037, 0.040, 0.042, 0.043, 0.046, 0.047, 0.049, 0.052, 0.055, 0.057, 0.063, 0.067}
	hotWire = []int{20, 18, 16, 14, 12, 10}
	hotLine = Line{60e-3 / 3600, 6.5e-3, 3, 740, 5e-4, 1.5e-6}
	hotStud = units.Inches(5, 16)
)

// hot holds every function on the resolve path with inputs that succeed.
var hot = map[string]func() error{
	"AirDemandCFM":       func() error { _, err := AirDemandCFM(350, 5500, 0.85); return err },
	"FlowRatio":          func() error { r, err := FlowRatio(600, 1.5, 473); SizeVerdict(r); return err },
	"DepressionInHg":     func() error { _, err := DepressionInHg(1.5, 473, 600); return err },
	"StandardAtmosphere": func() error { _, err := StandardAtmosphere(5000); return err },
	"JetAreaScale":       func() error { _, err := JetAreaScale(0.86); return err },
	"NearestPair":        func() error { _, err := NearestPair(hotJets, hotRods, 0.0023); return err },
	"NearestPair/plain":  func() error { _, err := NearestPair(hotJets, nil, 0.0040); return err },
	"BlendOf":            func() error { _, err := BlendOf(10); return err },
	"FuelDemandLbPerH":   func() error { _, err := FuelDemandLbPerH(473, 1.225, 12.5); return err },
	"LineLoss":           func() error { _, err := LineLoss(hotLine); return err },
	"NeedleSeatPSI":      func() error { _, err := NeedleSeatPSI(0.11, 30, 0.62, 740); return err },
	"NeedleSeatGPH":      func() error { _, err := NeedleSeatGPH(0.11, 6, 0.62, 740); return err },
	"VoltageDrop":        func() error { _, err := VoltageDrop(3, 8, 16); return err },
	"SmallestWireAWG":    func() error { _, err := SmallestWireAWG(3, 8, 12, 0.03, hotWire); return err },
	"FuseAmps":           func() error { _, err := FuseAmps(3); return err },
	"StudLengthIn":       func() error { StudLengthIn(1, 0.06, hotStud); return nil },
	"WrenchSize":         func() error { _, err := WrenchSize(hotStud); return err },
	"ChordTravelIn":      func() error { _, err := ChordTravelIn(1.25, 80); return err },
	"CompareTravel":      func() error { _, err := CompareTravel(2, 2, 0.1); return err },
	"SI":                 func() error { _, _, err := SI(600, "cfm"); return err },
}

func TestHotFunctionsDoNotAllocate(t *testing.T) {
	for name, call := range hot {
		if err := call(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if n := testing.AllocsPerRun(100, func() { _ = call() }); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}

func BenchmarkHot(b *testing.B) {
	for name, call := range hot {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := call(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
