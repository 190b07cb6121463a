package httpapi

import (
	"iter"
	"maps"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
)

// ListParts serves GET /v1/parts.
func (s *server) ListParts(c echo.Context, p ListPartsParams) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	if c.Get(mediaTypeKey) == mimeCSV {
		if c.QueryString() != "" {
			return badParameter(slices.Sorted(maps.Keys(c.QueryParams()))[0], "belongs to pages of JSON; the CSV holds all parts and takes no parameters: leave it out, or send Accept: application/json")
		}
		return s.writeCSV(c, "parts.csv", s.exports.Parts, snap.Catalog)
	}
	wanted, err := attributesWanted(p.Kind, p.Attribute)
	if err != nil {
		return err
	}
	parts := list[*catalog.Part]{
		items: snap.Catalog.Parts(),
		key:   func(part *catalog.Part) string { return part.SKU },
		match: func(part *catalog.Part) bool {
			return is(p.Kind, part.Kind) && is(p.Finish, part.Finish) && is(p.Discontinued, part.Discontinued) && hasAttributes(part, wanted)
		},
		write: func(b *buffer, part *catalog.Part) error { return stocked(b, snap.Catalog, part, &part.Offer) },
		limit: p.Limit, cursor: p.Cursor,
	}
	if search := words(p.Q); len(search) > 0 {
		parts.search = func(from int) iter.Seq[*catalog.Part] { return snap.Catalog.SearchParts(search, from) }
	}
	return writePage(c, parts)
}

// GetPart serves GET /v1/parts/{sku}.
func (s *server) GetPart(c echo.Context, sku SKU) error {
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	part, err := snap.Catalog.Part(sku)
	if err != nil {
		return err
	}
	return writeOffer(c, snap.Catalog, part, &part.Offer)
}

// PutPart serves PUT /v1/parts/{sku}.
func (s *server) PutPart(c echo.Context, sku SKU) error {
	return put(s, c, sku, decodePart, func(part *catalog.Part) (*string, string) { return &part.SKU, "sku" }, Writer.PutPart)
}

// DeletePart serves DELETE /v1/parts/{sku}.
func (s *server) DeletePart(c echo.Context, sku SKU) error {
	return remove(s, c, sku, Writer.DeletePart)
}

// attributesWanted reads the attribute filters by the types that the kind declares.
func attributesWanted(kind *Kind, filters *Attribute) ([]catalog.Attr, error) {
	if filters == nil {
		return nil, nil
	}
	if kind == nil {
		return nil, badParameter("attribute", "needs kind beside it, which decides what attributes there are; add kind=…")
	}
	spec, ok := kind.Spec()
	if !ok {
		return nil, badParameter("kind", "is not a kind of part") // the contract lists the kinds; a test holds the two lists equal
	}
	names := make([]string, len(spec.Attrs))
	for i, a := range spec.Attrs {
		names[i] = a.Name
	}
	wanted := make([]catalog.Attr, len(*filters))
	for i, filter := range *filters {
		name, text, _ := strings.Cut(filter, ":")
		a, ok := spec.Attr(name)
		if !ok {
			return nil, badParameter("attribute", "a %s has no attribute %q%s; accepted: %s", spec.Kind, clip(name), didYouMean(name, names), strings.Join(names, ", "))
		}
		v, err := a.ParseValue(text)
		if err != nil {
			return nil, badParameter("attribute", "%v", err)
		}
		wanted[i] = catalog.Attr{Name: name, Type: a.Type, Value: v}
	}
	return wanted, nil
}

func hasAttributes(part *catalog.Part, wanted []catalog.Attr) bool {
	return !slices.ContainsFunc(wanted, func(w catalog.Attr) bool {
		a, ok := part.Attr(w.Name)
		return !ok || !a.Value.Equal(w.Value)
	})
}
