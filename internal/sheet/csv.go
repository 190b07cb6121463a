package sheet

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"onetrip/internal/kit"
	"onetrip/internal/units"
)

// csvHeader names the columns of the pick list. Amounts are decimal, in the currency
// beside them; on_hand is at the location, or in all of them when that is empty.
var csvHeader = []string{"quantity", "sku", "name", "finish", "fills", "holds", "unit_price", "amount", "currency", "location", "on_hand", "enough", "elsewhere", "lead_time_days"}

// CSV writes the pick list, a row for each line of the kit, as text/csv (RFC 4180).
// Text that a spreadsheet would run as a formula is written with an apostrophe before
// it. The only errors are the writer's.
func CSV(w io.Writer, k *kit.Kit) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(csvHeader); err != nil {
		return err
	}
	for _, l := range k.Lines {
		holds := make([]string, len(l.Contents))
		for i, c := range l.Contents {
			holds[i] = strconv.Itoa(c.Quantity) + " x " + c.SKU
		}
		elsewhere := make([]string, len(l.Stock.Elsewhere))
		for i, s := range l.Stock.Elsewhere {
			elsewhere[i] = strconv.Itoa(s.OnHand) + " at " + s.Location
		}
		err := out.Write([]string{
			strconv.Itoa(l.Quantity), inert(l.SKU), inert(l.Name), inert(string(l.Finish)), inert(strings.Join(l.Fills, " ")), inert(strings.Join(holds, "; ")),
			decimal(l.UnitPrice), decimal(l.Amount), l.UnitPrice.Currency,
			inert(l.Stock.Location), strconv.Itoa(l.Stock.OnHand), strconv.FormatBool(l.Stock.Enough), inert(strings.Join(elsewhere, "; ")), strconv.Itoa(l.Stock.LeadTimeDays),
		})
		if err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// inert keeps a cell from being run: spreadsheets take text that begins with one of
// these, also after spaces, for a formula.
func inert(text string) string {
	if rest := strings.TrimLeft(text, " '"); rest != "" && strings.ContainsRune("=+-@\t\r\n", rune(rest[0])) {
		return "'" + text
	}
	return text
}

// decimal is an amount without its currency.
func decimal(m units.Money) string {
	text, _, _ := strings.Cut(m.String(), " ")
	return text
}
