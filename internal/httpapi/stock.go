package httpapi

import (
	"context"
	"errors"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// ListStock serves GET /v1/stock.
func (s *server) ListStock(c echo.Context) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	return s.writeCSV(c, "stock.csv", s.exports.Stock, snap.Catalog)
}

// GetStock serves GET /v1/stock/{sku}.
func (s *server) GetStock(c echo.Context, sku SKU) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	offer := snap.Catalog.Offer(sku)
	if offer == nil {
		return noArticle(snap.Catalog, sku)
	}
	levels := snap.Catalog.StockLevels(offer)
	return writeOne(c, catalog.ETag(levels), func(b *buffer) error { return b.value(Stock{SKU: &sku, Stock: levels}) })
}

// PutStock serves PUT /v1/stock/{sku}.
func (s *server) PutStock(c echo.Context, sku SKU) error {
	return put(s, c, sku, decodeStock, func(stock *Stock) (*string, string) {
		if stock.SKU == nil {
			stock.SKU = new(string)
		}
		return stock.SKU, "sku"
	}, func(w Writer, ctx context.Context, actor string, stock *Stock, pre catalog.Precondition) (catalog.Written, error) {
		written, err := w.PutStock(ctx, actor, sku, stock.Stock, pre)
		if wrong := (*catalog.InvalidError)(nil); errors.As(err, &wrong) { // the writer knows of the list alone
			for i := range wrong.Violations {
				wrong.Violations[i].Pointer = "/stock" + wrong.Violations[i].Pointer
			}
		}
		return written, err
	})
}

// noArticle names near spellings among the parts, which most articles are.
func noArticle(cat *catalog.Snapshot, sku string) error {
	_, err := cat.Part(sku)
	if unknown := (*catalog.NotFoundError)(nil); errors.As(err, &unknown) {
		unknown.What = "article"
	}
	return err
}
