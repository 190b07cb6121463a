package httpapi

import (
	"slices"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// ListBundles serves GET /v1/bundles.
func (s *server) ListBundles(c echo.Context, p ListBundlesParams) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	search := words(p.Q)
	return writePage(c, list[*catalog.Bundle]{
		items: snap.Catalog.Bundles(),
		key:   func(bundle *catalog.Bundle) string { return bundle.SKU },
		match: func(bundle *catalog.Bundle) bool {
			return is(p.Finish, bundle.Finish) && is(p.Discontinued, bundle.Discontinued) &&
				(p.Contains == nil || holds(bundle, *p.Contains)) && hasWords(search, bundle.SKU, bundle.Name)
		},
		write: func(b *buffer, bundle *catalog.Bundle) error {
			return stocked(b, snap.Catalog, bundle, &bundle.Offer)
		},
		limit: p.Limit, cursor: p.Cursor,
	})
}

// GetBundle serves GET /v1/bundles/{sku}.
func (s *server) GetBundle(c echo.Context, sku SKU) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	bundle, err := snap.Catalog.Bundle(sku)
	if err != nil {
		return err
	}
	return writeOffer(c, snap.Catalog, bundle, &bundle.Offer)
}

// PutBundle serves PUT /v1/bundles/{sku}.
func (s *server) PutBundle(c echo.Context, sku SKU) error {
	return put(s, c, sku, decodeBundle, func(bundle *catalog.Bundle) (*string, string) { return &bundle.SKU, "sku" }, Writer.PutBundle)
}

// DeleteBundle serves DELETE /v1/bundles/{sku}.
func (s *server) DeleteBundle(c echo.Context, sku SKU) error {
	return remove(s, c, sku, Writer.DeleteBundle)
}

func holds(bundle *catalog.Bundle, sku string) bool {
	return slices.ContainsFunc(bundle.Contents, func(a catalog.Amount) bool { return a.SKU == sku })
}
