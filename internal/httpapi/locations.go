package httpapi

import (
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// ListLocations serves GET /v1/locations.
func (s *server) ListLocations(c echo.Context) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	items := snap.Catalog.Locations
	if items == nil {
		items = []catalog.Location{}
	}
	return writeOne(c, "", func(b *buffer) error {
		return b.value(map[string][]catalog.Location{"items": items})
	})
}
