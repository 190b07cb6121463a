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
		v, err := vehicleOf(snap, r)
		if err != nil {
			return nil, err
		}
		return kit.Size(snap, v)
	}, asJSON)
}

// vehicleOf is the vehicle given or the one named.
func vehicleOf(snap *kit.Snapshot, r *SizingRequest) (*catalog.Vehicle, error) {
	switch {
	case r.Vehicle != nil && r.VehicleID != nil:
		return nil, invalid([]catalog.Violation{{Pointer: "/vehicle_id", Detail: "is given together with vehicle; give one of the two"}})
	case r.Vehicle != nil:
		return r.Vehicle, nil
	case r.VehicleID == nil:
		return nil, invalid([]catalog.Violation{{Pointer: "/vehicle", Detail: "is missing; describe the vehicle here, or name one of the catalogue in vehicle_id"}})
	}
	v, err := snap.Catalog.Vehicle(*r.VehicleID)
	if notFound := (*catalog.NotFoundError)(nil); errors.As(err, &notFound) {
		notFound.Pointer = "/vehicle_id"
	}
	return v, err
}
