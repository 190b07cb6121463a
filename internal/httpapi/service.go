package httpapi

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"
)

// GetContract serves GET /openapi.yaml.
func (s *server) GetContract(c echo.Context) error {
	return writeTagged(c, "application/yaml", hashOf(contractYAML), contractYAML)
}

// GetLiveness serves GET /livez.
func (s *server) GetLiveness(c echo.Context) error {
	c.Response().Header().Set(echo.HeaderCacheControl, noStore)
	return writeJSON(c, http.StatusOK, echo.MIMEApplicationJSON, Liveness{Status: Alive})
}

// GetReadiness serves GET /readyz.
func (s *server) GetReadiness(c echo.Context) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	cat := snap.Catalog
	c.Response().Header().Set(echo.HeaderCacheControl, noStore)
	ready := Readiness{
		Status: Ready, CatalogueRevision: cat.Revision, Source: s.source,
		Counts: Counts{Vehicles: len(cat.Vehicles()), Carburetors: len(cat.Carburetors()), Parts: len(cat.Parts()),
			Bundles: len(cat.Bundles()), Locations: len(cat.Locations)},
	}
	if s.database != nil {
		connected, age := s.database()
		ready.Database = &Database{Connected: connected, SnapshotAgeS: age.Round(time.Millisecond).Seconds()}
	}
	return writeJSON(c, http.StatusOK, echo.MIMEApplicationJSON, ready)
}
