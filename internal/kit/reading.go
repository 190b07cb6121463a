package kit

import (
	"fmt"
	"slices"
	"strings"

	"onetrip/internal/units"
)

// needTitles are needs as people call them. What is not here is called by its id.
var needTitles = map[string]string{
	"air.gasket":                  "air cleaner gasket",
	"air.low_profile":             "low air cleaner",
	"air.neck_adapter":            "air cleaner neck adapter",
	"air.stud":                    "air cleaner stud",
	"choke.conversion":            "choke conversion",
	"choke.feed_wire":             "choke feed wire",
	"choke.ground_wire":           "choke ground wire",
	"choke.relay":                 "choke relay",
	"fuel.clamps":                 "fuel hose clamps",
	"fuel.filter":                 "fuel filter",
	"fuel.fittings":               "fuel line fittings",
	"fuel.hose":                   "fuel hose",
	"fuel.inlet_fitting":          "fuel inlet fitting",
	"fuel.pressure_regulator":     "fuel pressure regulator",
	"fuel.pump":                   "fuel pump",
	"fuel.return_tee":             "fuel return tee",
	"idle.stop_solenoid":          "idle stop solenoid",
	"mount.adapter":               "adapter plate",
	"mount.base_gasket":           "base gasket",
	"mount.spacer":                "spacer plate",
	"mount.studs":                 "mounting studs",
	"shop.fender_cover":           "fender cover",
	"shop.gasket_scraper":         "gasket scraper",
	"shop.thread_sealant":         "thread sealant",
	"throttle.bracket":            "throttle bracket",
	"throttle.end":                "throttle linkage end",
	"throttle.return_springs":     "throttle return springs",
	"transmission.cable_bracket":  "transmission cable bracket",
	"transmission.kickdown_lever": "kickdown lever",
	"transmission.modulator_hose": "modulator hose",
	"transmission.tv_geometry":    "throttle-valve geometry lever",
	"tuning.metering_set":         "jets and rods",
	"vacuum.advance_hose":         "vacuum advance hose",
	"vacuum.booster_hose":         "brake booster hose",
	"vacuum.caps":                 "vacuum caps",
	"vacuum.cruise_hose":          "cruise control hose",
	"vacuum.egr_hose":             "EGR hose",
	"vacuum.nipples":              "vacuum nipples",
	"vacuum.pcv_hose":             "PCV hose",
	"vacuum.pipe_plug":            "pipe plug",
	"vacuum.purge_hose":           "canister purge hose",
	"vacuum.reducers":             "vacuum hose reducers",
	"vacuum.tees":                 "vacuum tees",
}

// NeedTitle is a need as people call it: "adapter plate" for mount.adapter.
func NeedTitle(id string) string {
	if title, ok := needTitles[id]; ok {
		return title
	}
	return strings.NewReplacer(".", " ", "_", " ").Replace(id)
}

// Exchange is how a need would be met from stock: by With, and for Delta more. Others counts
// the changes for other needs that come with it, whose cost is in Delta then.
type Exchange struct {
	With   []LineChange
	Others int
	Delta  units.Money
}

// InStockInstead is what the alternative stock has for a need where the kit is short, nil
// where it has nothing that is in stock.
func (k *Kit) InStockInstead(need string) *Exchange {
	at := slices.IndexFunc(k.Alternatives, func(a Alternative) bool { return a.Objective == "stock" })
	if at < 0 {
		return nil
	}
	stock := &k.Alternatives[at]
	e := &Exchange{Delta: stock.Delta}
	for _, c := range stock.Changes {
		goes := c.To < c.From && slices.ContainsFunc(k.Lines, func(l Line) bool { return l.SKU == c.SKU && slices.Contains(l.Fills, need) })
		switch {
		case slices.Contains(c.Fills, need):
			e.With = append(e.With, c)
		case !goes:
			e.Others++
		}
	}
	if len(e.With) == 0 {
		return nil
	}
	return e
}

// String is "2 x FIV-2C51 Swivel fitting; with 3 other changes +0.40 USD".
func (e *Exchange) String() string {
	var b strings.Builder
	for i, c := range e.With {
		if i > 0 {
			b.WriteString(", ")
		}
		if c.To > 1 {
			fmt.Fprintf(&b, "%d x ", c.To)
		}
		b.WriteString(c.SKU + " " + c.Name)
	}
	b.WriteString("; ")
	switch e.Others {
	case 0:
	case 1:
		b.WriteString("with another change that goes with it ")
	default:
		fmt.Fprintf(&b, "with %d other changes that go with it ", e.Others)
	}
	return b.String() + e.Delta.Signed()
}

// LeftOut says why a need is not met that nobody wants met, "" for others.
func (n *Need) LeftOut() string {
	words := leftOutWords[n.Status]
	if n.Status == NotAsked {
		words = string(n.Level) + ", " + words
	}
	return words
}
