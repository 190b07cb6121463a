package httpapi

import (
	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// writeOffer answers with one thing for sale. The entity tag is that of the thing,
// which writes are conditional on, and behind a dot that of the stock, which changes
// the answer too.
func writeOffer(c echo.Context, snap *catalog.Snapshot, thing any, offer *catalog.Offer) error {
	tag := catalog.ETag(thing) + "." + catalog.ETag(snap.StockLevels(offer))
	return writeOne(c, tag, func(b *buffer) error { return stocked(b, snap, thing, offer) })
}

// stocked writes a thing for sale with its stock at every location: a member of the
// contract that the catalogue's types do not carry, since it changes by itself.
func stocked(b *buffer, snap *catalog.Snapshot, thing any, offer *catalog.Offer) error {
	if err := b.value(thing); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1) // the closing brace
	b.WriteString(`,"stock":`)
	if err := b.value(snap.StockLevels(offer)); err != nil {
		return err
	}
	b.WriteByte('}')
	return nil
}
