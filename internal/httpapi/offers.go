package httpapi

import "onetrip/internal/catalog"

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
