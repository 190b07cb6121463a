package httpapi

import (
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// ListCarburetors serves GET /v1/carburetors.
func (s *server) ListCarburetors(c echo.Context, p ListCarburetorsParams) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	search := words(p.Q)
	return writePage(c, list[*catalog.Carburetor]{
		items: snap.Catalog.Carburetors(),
		key:   func(k *catalog.Carburetor) string { return k.SKU },
		match: func(k *catalog.Carburetor) bool {
			return isFold(p.Series, k.Series) && is(p.Flange, k.Flange) && is(p.Barrels, k.Barrels) &&
				is(p.ChokeKind, k.Choke.Kind) && is(p.Finish, k.Finish) && is(p.Discontinued, k.Discontinued) &&
				(p.MinFlowCfm == nil || k.FlowCFM >= float64(*p.MinFlowCfm)) &&
				(p.MaxFlowCfm == nil || k.FlowCFM <= float64(*p.MaxFlowCfm)) &&
				hasWords(search, k.SKU, k.Name, k.Series)
		},
		write: func(b *buffer, k *catalog.Carburetor) error { return stocked(b, snap.Catalog, k, &k.Offer) },
		limit: p.Limit, cursor: p.Cursor,
	})
}

// GetCarburetor serves GET /v1/carburetors/{sku}.
func (s *server) GetCarburetor(c echo.Context, sku SKU) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	k, err := snap.Catalog.Carburetor(sku)
	if err != nil {
		return err
	}
	return writeOffer(c, snap.Catalog, k, &k.Offer)
}

// PutCarburetor serves PUT /v1/carburetors/{sku}.
func (s *server) PutCarburetor(c echo.Context, sku SKU) error {
	return put(s, c, sku, decodeCarburetor, func(k *catalog.Carburetor) (*string, string) { return &k.SKU, "sku" }, Writer.PutCarburetor)
}

// DeleteCarburetor serves DELETE /v1/carburetors/{sku}.
func (s *server) DeleteCarburetor(c echo.Context, sku SKU) error {
	return remove(s, c, sku, Writer.DeleteCarburetor)
}
