package kit

import (
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

// InStockInstead are the lines, all in stock, that serve a need in the alternative stock
// where the kit is short, and what the change costs; none where there is no such way.
func (k *Kit) InStockInstead(need string) (with []LineChange, delta units.Money) {
	delta.Currency = k.Totals.All.Currency
	for i := range k.Alternatives {
		if k.Alternatives[i].Objective != "stock" {
			continue
		}
		for _, c := range k.Alternatives[i].Changes {
			comes := slices.Contains(c.Fills, need)
			goes := c.To < c.From && slices.ContainsFunc(k.Lines, func(l Line) bool { return l.SKU == c.SKU && slices.Contains(l.Fills, need) })
			if comes {
				with = append(with, c)
			}
			if comes || goes {
				delta = delta.Plus(c.Delta)
			}
		}
	}
	return with, delta
}

// LeftOut says why a need is not met that nobody wants met, "" for others.
func (n *Need) LeftOut() string {
	switch n.Status {
	case Declined:
		return "left out as asked"
	case NotAsked:
		return string(n.Level) + ", not asked for"
	}
	return ""
}
