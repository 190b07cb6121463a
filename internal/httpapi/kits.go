package httpapi

import (
	"github.com/labstack/echo/v4"

	"onetrip/internal/kit"
)

// ResolveKit serves POST /v1/kits/resolve.
func (s *server) ResolveKit(c echo.Context) error {
	return answer(s, c, DecodeResolve, func(snap *kit.Snapshot, r *kit.Request) (*kit.Kit, error) {
		return kit.Resolve(c.Request().Context(), snap, r)
	})
}
