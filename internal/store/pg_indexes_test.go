//go:build !race

package store_test

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
)

// Every question asked outside a whole load finds its rows through an index.
func TestIndexesAreUsed(t *testing.T) {
	_, pool := seeded(t)
	enlarge(t, pool, 20000)
	ctx := context.Background()
	if _, err := pool.Exec(ctx, `
		INSERT INTO revisions SELECT i, now(), 'x', 'stock', 'x' FROM generate_series(2, 20000) i;
		INSERT INTO audit (actor, revision, kind, key, after) SELECT 'x', 2, 'part', 'P-' || i, '{}' FROM generate_series(1, 20000) i;
		INSERT INTO imports (id, actor, kind, mode, dry_run, idempotency_key) SELECT 'i' || i, 'x', 'stock', 'atomic', false, 'k' || i FROM generate_series(1, 20000) i;
		INSERT INTO import_problems (import_id, line, field, value, detail) SELECT 'i' || i, 2, '', '', 'x' FROM generate_series(1, 20000) i;
		INSERT INTO part_relations SELECT 'BULK-' || lpad(i::text, 7, '0'), 'requires', 'BULK-' || lpad((i + 1)::text, 7, '0'), 0 FROM generate_series(1, 19999) i;
		INSERT INTO offers (sku, article, name, finish, pack_quantity, price_minor, lead_time_days, discontinued, replaced_by)
			SELECT 'OLD-' || i, 'bundle', 'x', 'plain', 1, 1, 0, true, 'BULK-' || lpad(i::text, 7, '0') FROM generate_series(1, 5000) i;
		INSERT INTO bundles (sku) SELECT sku FROM offers WHERE sku LIKE 'OLD-%';
		INSERT INTO bundle_contents SELECT 'OLD-' || i, 0, 'BULK-' || lpad(i::text, 7, '0'), 1 FROM generate_series(1, 5000) i;
		UPDATE stock SET revision = 19999 WHERE sku = 'BULK-0000007'`); err != nil {
		t.Fatal(err)
	}
	if _, err := pool.Exec(ctx, "ANALYZE"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ sql, index string }{
		{"SELECT sku, location, on_hand FROM stock WHERE revision > 19990", "stock_revision"},
		{"SELECT count(*) FROM revisions r WHERE r.revision > 19990 AND r.what = 'stock'", "revisions_pkey"},
		{"SELECT on_hand FROM stock WHERE sku = 'BULK-0000007'", "stock_pkey"},
		{"SELECT * FROM offers JOIN parts USING (sku) WHERE sku = 'BULK-0000007'", "parts_pkey"},
		{"SELECT sku, article FROM offers WHERE sku = ANY ('{BULK-0000007,BULK-0000008}'::text[])", "offers_"}, // its key or, after a vacuum, that with the article
		{"SELECT sku FROM offers WHERE lpad(gtin, 14, '0') = '00614141123452' AND sku <> 'BULK-0000007'", "offers_gtin"},
		{"SELECT bundle_sku FROM bundle_contents WHERE part_sku = 'BULK-0000007'", "bundle_contents_part_sku"},
		{"SELECT sku FROM part_relations WHERE other = 'BULK-0000007'", "part_relations_other"},
		{"SELECT sku FROM offers WHERE replaced_by = 'BULK-0000007'", "offers_replaced_by"},
		{"SELECT at FROM audit WHERE kind = 'part' AND key = 'P-7' ORDER BY id DESC", "audit_kind_key"},
		{"SELECT id FROM imports WHERE actor = 'x' AND idempotency_key = 'k7'", "imports_actor_idempotency_key_key"},
		{"SELECT line FROM import_problems WHERE import_id = 'i7' ORDER BY line, place", "import_problems_pkey"},
	} {
		var plan json.RawMessage
		if err := pool.QueryRow(ctx, "EXPLAIN (FORMAT JSON) "+c.sql).Scan(&plan); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(plan), `"Index Name": "`+c.index) || strings.Contains(string(plan), "Seq Scan") {
			t.Errorf("%s does not use %s:\n%s", c.sql, c.index, plan)
		}
	}
}
