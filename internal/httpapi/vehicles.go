package httpapi

import (
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// ListVehicles serves GET /v1/vehicles.
func (s *server) ListVehicles(c echo.Context, p ListVehiclesParams) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	search := words(p.Q)
	return writePage(c, list[*catalog.Vehicle]{
		items: snap.Catalog.Vehicles(),
		key:   func(v *catalog.Vehicle) string { return v.ID },
		match: func(v *catalog.Vehicle) bool {
			return isFold(p.Make, v.Make) && isFold(p.Model, v.Model) && is(p.Year, v.Year) &&
				is(p.Flange, v.Intake.Flange) && hasWords(search, v.ID, v.Make, v.Model)
		},
		write: func(b *buffer, v *catalog.Vehicle) error { return b.value(v) },
		limit: p.Limit, cursor: p.Cursor,
	})
}

// GetVehicle serves GET /v1/vehicles/{id}.
func (s *server) GetVehicle(c echo.Context, id VehicleID) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	v, err := snap.Catalog.Vehicle(id)
	if err != nil {
		return err
	}
	return writeOne(c, catalog.ETag(v), func(b *buffer) error { return b.value(v) })
}

// PutVehicle serves PUT /v1/vehicles/{id}.
func (s *server) PutVehicle(c echo.Context, id VehicleID) error {
	return put(s, c, id, decodeVehicle, func(v *catalog.Vehicle) (*string, string) { return &v.ID, "id" }, Writer.PutVehicle)
}

// DeleteVehicle serves DELETE /v1/vehicles/{id}.
func (s *server) DeleteVehicle(c echo.Context, id VehicleID) error {
	return remove(s, c, id, Writer.DeleteVehicle)
}
