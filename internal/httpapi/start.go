package httpapi

import (
	"bytes"
	"context"
	_ "embed"
	"html/template"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/sheet"
	"onetrip/internal/units"
)

//go:embed start.html
var startText string

var startPage = template.Must(template.New("start").Parse(startText))

// start is what the page is made of. Where keys are asked for it shows nothing of the
// catalogue.
type start struct {
	URL, Curl string
	Keys      bool
	Examples  []example
}

// Example is the one that commands use, nil without any.
func (s start) Example() *example {
	if len(s.Examples) == 0 {
		return nil
	}
	return &s.Examples[0]
}

// example is a vehicle and a carburetor to show a kit of.
type example struct {
	Vehicle    *catalog.Vehicle
	Carburetor *catalog.Carburetor
	Verdict    string
	Total      units.Money
}

// GetStart serves GET /.
func (s *server) GetStart(c echo.Context) error {
	page := start{URL: c.Scheme() + "://" + c.Request().Host, Curl: "curl ", Keys: s.access != nil && s.access.Required()}
	if page.Keys {
		page.Curl = `curl -H "Authorization: Bearer $KEY" `
	} else {
		snap, err := s.snapshot()
		if err != nil {
			return err
		}
		if page.Examples, err = s.examples.of(c.Request().Context(), snap); err != nil {
			return err
		}
	}
	var b bytes.Buffer
	if err := startPage.Execute(&b, page); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentSecurityPolicy, sheetPolicy)
	body := []byte(sheet.Visible(b.String()))
	return writeTagged(c, mimeHTML, hashOf(body), body)
}

// examples are those of the catalogue last asked about.
type examples struct {
	mu   sync.Mutex
	from *kit.Snapshot
	list []example
}

func (e *examples) of(ctx context.Context, snap *kit.Snapshot) ([]example, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.from != snap {
		list, err := chooseExamples(ctx, snap)
		if err != nil {
			return nil, err
		}
		e.from, e.list = snap, list
	}
	return e.list, nil
}

// triedForExample bounds the search for a kit that is complete.
const triedForExample = 10

// chooseExamples takes a vehicle from the beginning, the middle and the end of the
// catalogue, each with the carburetor that suits it best in size: the first of a few
// whose kit is complete, or the first.
func chooseExamples(ctx context.Context, snap *kit.Snapshot) (list []example, err error) {
	vehicles := snap.Catalog.Vehicles()
	parts := min(3, len(vehicles))
	for i := range parts {
		part := vehicles[i*len(vehicles)/parts : (i+1)*len(vehicles)/parts]
		var chosen *example
		for _, v := range part[:min(len(part), triedForExample)] {
			e, err := exampleOf(ctx, snap, v)
			if err != nil {
				return nil, err
			}
			if e == nil { // no carburetor
				return nil, nil
			}
			complete := strings.HasPrefix(e.Verdict, string(kit.Complete))
			if chosen == nil || complete {
				chosen = e
			}
			if complete {
				break
			}
		}
		list = append(list, *chosen)
	}
	return list, nil
}

func exampleOf(ctx context.Context, snap *kit.Snapshot, v *catalog.Vehicle) (*example, error) {
	sizing, err := kit.Size(snap, v)
	if err != nil || len(sizing.Carburetors) == 0 {
		return nil, err
	}
	k, err := kit.Resolve(ctx, snap, &kit.Request{VehicleID: v.ID, CarburetorSKU: sizing.Carburetors[0].SKU})
	if err != nil {
		return nil, err
	}
	return &example{v, k.Carburetor, strings.ReplaceAll(string(k.Verdict), "_", " "), k.Totals.All}, nil
}
