package catalog

import "onetrip/internal/units"

// Offer is what parts, carburetors and bundles have in common as things for sale.
// Price is for one pack of PackQuantity pieces.
type Offer struct {
	SKU          string      `json:"sku"`
	Name         string      `json:"name"`
	Finish       Finish      `json:"finish"`
	PackQuantity int         `json:"pack_quantity"`
	Price        units.Money `json:"price"`
	LeadTimeDays int         `json:"lead_time_days"`
	GTIN         string      `json:"gtin,omitempty"`
	Discontinued bool        `json:"discontinued"`
	ReplacedBy   string      `json:"replaced_by,omitempty"`

	ordinal int32 // set by NewSnapshot
}

// Ordinal is the number of the offer among all of a Snapshot, from 0. Known of those alone.
func (o *Offer) Ordinal() int { return int(o.ordinal) }

// StockLevel is how many packs a location has on hand.
type StockLevel struct {
	Location string `json:"location"`
	OnHand   int    `json:"on_hand"`
}

// Location is one of the retailer's shops or stores.
type Location struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// Amount is a number of pieces of one SKU.
type Amount struct {
	SKU      string `json:"sku"`
	Quantity int    `json:"quantity"`
}

// Bundle is one SKU that holds several others.
type Bundle struct {
	Offer
	Contents []Amount `json:"contents"`

	index int     // among the Snapshot's bundles; set by NewSnapshot
	parts []*Part // of Contents; set by NewSnapshot
}

// Index is the place of the bundle in Snapshot.Bundles. Known of the bundles of a
// Snapshot, as are Parts.
func (b *Bundle) Index() int { return b.index }

// Parts are the parts of Contents, in their order.
func (b *Bundle) Parts() []*Part { return b.parts }
