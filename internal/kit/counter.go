package kit

import "onetrip/internal/catalog"

// CounterLine is a line of a saved kit after its marks. With LineSubstituted it is the
// line of the part that stands in, of as many packs, with today's name, price and stock.
// What has left the catalogue, or is sold for another currency now, has no name and no price.
type CounterLine struct {
	Line
	Mark      MarkKind // "" for none
	InPlaceOf string   // SKU of the line as it was saved, with LineSubstituted
}

// AtTheCounter are the lines of a saved kit, k, after its marks, in the kit's order.
func (sv *Saved) AtTheCounter(s *Snapshot, k *Kit) []CounterLine {
	out := make([]CounterLine, len(k.Lines))
	for i := range k.Lines {
		l, m := &out[i], sv.Marks[k.Lines[i].SKU]
		l.Line, l.Mark = k.Lines[i], m.Mark
		if m.Mark == LineSubstituted {
			l.InPlaceOf = l.SKU
			l.standIn(s.Catalog, m.Substitute)
		}
	}
	return out
}

// standIn makes a line that of another part.
func (l *CounterLine) standIn(cat *catalog.Snapshot, sku string) {
	packs, currency := l.Quantity, l.UnitPrice.Currency
	l.Line = Line{SKU: sku, Quantity: packs, Fills: l.Fills, Stock: LineStock{Location: l.Stock.Location, Elsewhere: []catalog.StockLevel{}}}
	p, err := cat.Part(sku)
	if err != nil || p.Price.Currency != currency {
		return
	}
	l.Name, l.Finish, l.UnitPrice, l.Amount = p.Name, p.Finish, p.Price, p.Price.Times(packs)
	at, err := cat.Location(l.Stock.Location)
	if err != nil { // none was preferred, or it is closed
		at, l.Stock.Location = catalog.AllLocations, ""
	}
	l.Stock, _ = lineStock(cat, &p.Offer, packs, at, nil)
}

// TotalsAfter adds up what the lines after marks cost; declined ones cost nothing.
func (k *Kit) TotalsAfter(lines []CounterLine) Totals {
	taken := make([]Line, 0, len(lines))
	for i := range lines {
		if lines[i].Mark != LineDeclined {
			taken = append(taken, lines[i].Line)
		}
	}
	return totals(taken, k.Needs, k.Totals.All.Currency)
}
