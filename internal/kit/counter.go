package kit

import (
	"context"
	"errors"
	"slices"

	"onetrip/internal/catalog"
)

// CounterLine is a line of a saved kit after its marks. With LineSubstituted it is the
// line of the part that stands in: today's name, price and stock, and as many packs as it
// takes beside all other lines; 0 where the packs of another line's substitute serve both.
// What has left the catalogue has no name and no price.
type CounterLine struct {
	Line
	Mark      MarkKind // "" for none
	InPlaceOf string   // SKU of the line as it was saved, with LineSubstituted
}

// AtTheCounter are the lines of a saved kit, k, after its marks, in the kit's order.
func (sv *Saved) AtTheCounter(ctx context.Context, s *Snapshot, req *Request, k *Kit) ([]CounterLine, error) {
	instead := substituted(sv.Marks)
	packs, err := packsInstead(ctx, s, req, k, instead)
	if err != nil {
		return nil, err
	}
	out := make([]CounterLine, len(k.Lines))
	for i := range k.Lines {
		l := &out[i]
		l.Line, l.Mark = k.Lines[i], sv.Marks[k.Lines[i].SKU].Mark
		if with := instead[l.SKU]; with != "" {
			l.InPlaceOf = l.SKU
			l.standIn(s.Catalog, with, packs[with])
			packs[with] = 0
		}
	}
	return out, nil
}

// standIn makes a line that of another part.
func (l *CounterLine) standIn(cat *catalog.Snapshot, sku string, packs int) {
	l.Line = Line{SKU: sku, Quantity: packs, Fills: l.Fills, Stock: LineStock{Location: l.Stock.Location, Elsewhere: []catalog.StockLevel{}}}
	p, err := cat.Part(sku)
	if err != nil {
		return
	}
	l.Name, l.Finish, l.UnitPrice, l.Amount = p.Name, p.Finish, p.Price, p.Price.Times(packs)
	at, err := cat.Location(l.Stock.Location)
	if err != nil { // none was preferred, or it is closed
		at, l.Stock.Location = catalog.AllLocations, ""
	}
	l.Stock, _ = lineStock(cat, &p.Offer, packs, at, nil)
}

// packsInstead counts the packs of each substitute that a kit takes beside its other
// lines, by the same trial as Substitutes: the pieces of these are on hand, so that no more
// packs are bought than it takes. At least one each; one also when the kit's question cannot be asked
// any more.
func packsInstead(ctx context.Context, s *Snapshot, req *Request, k *Kit, instead map[string]string) (map[string]int, error) {
	packs := map[string]int{}
	for _, with := range instead {
		packs[with] = 1
	}
	if len(instead) == 0 {
		return packs, nil
	}
	t := newSwap(s, req, k, instead)
	parts := t.parts(instead)
	own := func(sku string, pieces int) {
		if parts[sku] != nil {
			t.question.OnHand = append(t.question.OnHand, OnHand{SKU: sku, Quantity: pieces})
		}
	}
	t.question.OnHand = slices.Clone(req.OnHand)
	for i := range k.Lines {
		switch l := &k.Lines[i]; {
		case instead[l.SKU] != "":
		case l.Contents != nil:
			for _, in := range l.Contents {
				own(in.SKU, l.Quantity*in.Quantity)
			}
		case parts[l.SKU] != nil:
			own(l.SKU, l.Quantity*parts[l.SKU].PackQuantity)
		}
	}
	tried, err := t.resolve(ctx, instead)
	var missing *catalog.NotFoundError
	var invalid *catalog.InvalidError
	if errors.As(err, &missing) || errors.As(err, &invalid) {
		return packs, nil
	}
	if err != nil {
		return nil, err
	}
	for i := range tried.Lines {
		if l := &tried.Lines[i]; packs[l.SKU] > 0 {
			packs[l.SKU] = l.Quantity
		}
	}
	return packs, nil
}

// substituted are the SKUs that stand in, by the lines' SKUs.
func substituted(marks map[string]Mark) map[string]string {
	instead := map[string]string{}
	for sku, m := range marks {
		if m.Mark == LineSubstituted {
			instead[sku] = m.Substitute
		}
	}
	return instead
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
