package httpapi

import (
	"errors"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
)

// SizeCarburetors serves POST /v1/sizing.
func (s *server) SizeCarburetors(c echo.Context) error {
	return answer(s, c, DecodeSizing, func(snap *kit.Snapshot, r *SizingRequest) (*kit.Sizing, error) {
		if r.Vehicle != nil {
			return kit.Size(snap, r.Vehicle)
		}
		v, err := snap.Catalog.Vehicle(*r.VehicleID)
		if err != nil {
			var notFound *catalog.NotFoundError
			if errors.As(err, &notFound) {
				notFound.Pointer = "/vehicle_id"
			}
			return nil, err
		}
		return kit.Size(snap, v)
	})
}
