-- The catalogue: vehicles, what is for sale, stock, rules.
--
-- Texts that identify or measure are domains, so that no column can hold a size that is
-- no size. Limits here are those of nature (a pressure is above zero); the narrower ones
-- that catch typing errors are in package catalog, with their explanations.

-- +goose Up

-- Collation C: the order of bytes, which is the order Go sorts by.
CREATE DOMAIN identifier AS text COLLATE "C" CHECK (VALUE ~ '^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$');
CREATE DOMAIN label AS text CHECK (VALUE <> '' AND VALUE = btrim(VALUE) AND VALUE !~ '[[:cntrl:]]' AND length(VALUE) <= 120);
CREATE DOMAIN positive AS double precision CHECK (VALUE > 0 AND VALUE < 'Infinity'); -- NaN is above Infinity
CREATE DOMAIN not_negative AS double precision CHECK (VALUE >= 0 AND VALUE < 'Infinity');

-- Inches of a size as units.Size prints it: 2, 0.375, 5/16, 1-1/16. NULL when it is none.
CREATE FUNCTION size_inches(size text) RETURNS numeric LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
RETURN CASE
  WHEN size ~ '^[0-9]{1,7}(\.[0-9]{1,20})?$' THEN size::numeric
  WHEN size ~ '^[0-9]{1,7}/[1-9][0-9]{0,6}$' THEN split_part(size, '/', 1)::numeric / split_part(size, '/', 2)::numeric
  WHEN size ~ '^[0-9]{1,7}-[0-9]{1,7}/[1-9][0-9]{0,6}$' THEN split_part(size, '-', 1)::numeric
    + split_part(split_part(size, '-', 2), '/', 1)::numeric / split_part(size, '/', 2)::numeric
END;

CREATE DOMAIN size_in AS text COLLATE "C" CHECK (VALUE IS NULL OR coalesce(size_inches(VALUE), 0) > 0);
-- A straight or NPT thread: 5/16-18, 1/4-18 NPT.
CREATE DOMAIN thread AS text COLLATE "C" CHECK (VALUE IS NULL OR coalesce(size_inches(substring(VALUE FROM '^(.+)-[0-9]{1,3}( NPT)?$')), 0) > 0);
-- One side of a joint, as catalog.End prints it: hose 3/8, an_flare -6 male, unf_port 7/8-20 female.
CREATE DOMAIN joint AS text COLLATE "C" CHECK (
  VALUE IS NULL
  OR coalesce(size_inches(substring(VALUE FROM '^(?:plain_tube|hose_barb|hose) (.+)$')), 0) > 0
  OR coalesce(size_inches(substring(VALUE FROM '^npt (.+) (?:male|female)$')), 0) > 0
  OR coalesce(size_inches(substring(VALUE FROM '^(?:inverted_flare|unf_port|banjo) (.+)-[0-9]{1,3} (?:male|female)$')), 0) > 0
  OR VALUE ~ '^an_flare -[1-9][0-9]? (male|female)$');

CREATE DOMAIN flange AS text CHECK (VALUE IN ('square_bore', 'spread_bore', 'two_bore_large', 'two_bore_small'));
CREATE DOMAIN link_end AS text CHECK (VALUE IN ('ball', 'eyelet', 'clevis', 'pin'));
CREATE DOMAIN side AS text CHECK (VALUE IN ('front', 'rear', 'driver', 'passenger'));

-- One row. Writers lock it first, so that revisions follow one another in the order in
-- which they become visible, and a reader that has seen revision n has seen all before it.
CREATE TABLE catalogue (
  only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
  currency text NOT NULL CHECK (currency ~ '^[A-Z]{3}$'), -- ISO 4217; every price has it
  revision bigint NOT NULL CHECK (revision > 0)
);

CREATE TABLE locations (
  id identifier PRIMARY KEY,
  name label NOT NULL,
  place smallint NOT NULL UNIQUE -- order in lists
);

CREATE TABLE vehicles (
  id identifier PRIMARY KEY,
  make label,
  model label,
  year integer CHECK (year BETWEEN 1900 AND 2100),
  engine_displacement_in3 positive NOT NULL,
  engine_cylinders integer NOT NULL CHECK (engine_cylinders > 0),
  engine_tune text NOT NULL CHECK (engine_tune IN ('stock', 'mild', 'strong', 'race')),
  engine_redline_rpm positive,
  engine_volumetric_efficiency positive,
  engine_idle_vacuum_inhg positive,
  intake_flange flange NOT NULL,
  intake_hood_clearance_in positive NOT NULL,
  intake_stud_length_in not_negative,
  intake_stud_thread thread,
  throttle_kind text NOT NULL CHECK (throttle_kind IN ('cable', 'rod')),
  throttle_end link_end NOT NULL,
  throttle_bracket_on text NOT NULL CHECK (throttle_bracket_on IN ('carburetor', 'manifold', 'firewall')),
  throttle_pedal_travel_in positive NOT NULL,
  transmission_kind text NOT NULL CHECK (transmission_kind IN ('manual', 'automatic')),
  transmission_downshift text NOT NULL CHECK (transmission_downshift IN ('none', 'vacuum_modulator', 'detent_cable', 'kickdown_rod', 'throttle_valve_cable', 'electric_switch')),
  transmission_cable_travel_in positive,
  fuel_pump text NOT NULL CHECK (fuel_pump IN ('mechanical', 'electric')),
  fuel_pressure_psi positive NOT NULL,
  fuel_free_flow_gph positive,
  fuel_line_od_in size_in NOT NULL,
  fuel_line_end text NOT NULL CHECK (fuel_line_end IN ('plain_tube', 'inverted_flare', 'an_flare', 'hose_barb', 'npt', 'hose')),
  fuel_run_length_in positive NOT NULL,
  fuel_return_line boolean NOT NULL,
  fuel_ethanol_percent double precision NOT NULL CHECK (fuel_ethanol_percent BETWEEN 0 AND 100),
  ignition_advance text NOT NULL CHECK (ignition_advance IN ('none', 'ported', 'manifold')),
  accessories_air_conditioning boolean NOT NULL,
  accessories_idle_stop_solenoid boolean NOT NULL,
  accessories_power_brakes boolean NOT NULL,
  accessories_pcv boolean NOT NULL,
  accessories_canister_purge boolean,
  accessories_egr boolean,
  accessories_cruise_control boolean,
  electrical_nominal_volts double precision NOT NULL CHECK (electrical_nominal_volts IN (6, 12, 24)),
  electrical_negative_ground boolean NOT NULL,
  electrical_choke_feed_length_ft positive NOT NULL,
  air_cleaner_neck_in positive NOT NULL,
  air_cleaner_height_in positive NOT NULL,
  air_cleaner_stud_thread thread,
  site_altitude_ft double precision NOT NULL CHECK (site_altitude_ft BETWEEN -2000 AND 30000),
  road_on_road boolean NOT NULL,
  road_emissions_controlled boolean NOT NULL,
  CHECK (transmission_kind = 'automatic' OR transmission_downshift = 'none')
);

-- Everything for sale: what parts, carburetors and bundles have in common, and the one
-- place where a SKU is taken. The article column lets the tables below prove that a SKU of
-- theirs is of their sort.
CREATE TABLE offers (
  sku identifier PRIMARY KEY,
  article text NOT NULL CHECK (article IN ('part', 'carburetor', 'bundle')),
  name label NOT NULL,
  finish text NOT NULL CHECK (finish IN ('plain', 'bright', 'braided')),
  pack_quantity integer NOT NULL CHECK (pack_quantity > 0 AND (article <> 'bundle' OR pack_quantity = 1)),
  price_minor bigint NOT NULL CHECK (price_minor > 0), -- minor units of the catalogue's currency, for one pack
  lead_time_days integer NOT NULL CHECK (lead_time_days >= 0),
  gtin text CHECK (gtin ~ '^([0-9]{8}|[0-9]{12,14})$'),
  discontinued boolean NOT NULL,
  replaced_by identifier REFERENCES offers DEFERRABLE INITIALLY DEFERRED,
  UNIQUE (sku, article),
  CHECK (replaced_by IS NULL OR (discontinued AND replaced_by <> sku))
);
CREATE INDEX offers_replaced_by ON offers (replaced_by) WHERE replaced_by IS NOT NULL;

CREATE TABLE parts (
  sku identifier PRIMARY KEY,
  article text NOT NULL GENERATED ALWAYS AS ('part') STORED,
  kind text NOT NULL CHECK (kind ~ '^[a-z][a-z_]*$'), -- package catalog has the list
  attributes jsonb NOT NULL CHECK (jsonb_typeof(attributes) = 'object'), -- by kind, checked by package catalog
  end_1 joint,
  end_2 joint,
  length_in positive,
  height_in positive,
  FOREIGN KEY (sku, article) REFERENCES offers (sku, article) ON DELETE CASCADE,
  CHECK (end_2 IS NULL OR end_1 IS NOT NULL)
);

-- What must (requires) or must not (conflicts) be in a kit together with a part.
CREATE TABLE part_relations (
  sku identifier REFERENCES parts ON DELETE CASCADE,
  relation text NOT NULL CHECK (relation IN ('requires', 'conflicts')),
  other identifier NOT NULL REFERENCES offers DEFERRABLE INITIALLY DEFERRED,
  place smallint NOT NULL,
  PRIMARY KEY (sku, other), -- a part cannot require what it conflicts with
  CHECK (sku <> other)
);
CREATE INDEX part_relations_other ON part_relations (other);

CREATE TABLE carburetors (
  sku identifier PRIMARY KEY,
  article text NOT NULL GENERATED ALWAYS AS ('carburetor') STORED,
  series label NOT NULL,
  flow_cfm positive NOT NULL,
  rated_at_inhg positive NOT NULL,
  barrels integer NOT NULL CHECK (barrels BETWEEN 1 AND 4),
  flange flange NOT NULL,
  height_in positive NOT NULL,
  neck_in positive NOT NULL,
  inlet_end joint NOT NULL,
  inlet_facing side NOT NULL,
  max_fuel_psi positive NOT NULL,
  needle_seat_in positive NOT NULL,
  choke_kind text NOT NULL CHECK (choke_kind IN ('electric', 'manual', 'divorced', 'none')),
  choke_amps_cold not_negative NOT NULL,
  choke_amps_steady not_negative NOT NULL,
  throttle_ends text[] NOT NULL CHECK (cardinality(throttle_ends) > 0 AND throttle_ends <@ ARRAY['ball', 'eyelet', 'clevis', 'pin']),
  throttle_cable_radius_in positive NOT NULL,
  throttle_swing_deg positive NOT NULL,
  throttle_transmission_radius_in positive,
  jets_main_in positive NOT NULL,
  jets_secondary_in positive,
  jets_rod_cruise_in positive,
  jets_rod_power_in positive,
  air_cleaner_stud_thread thread NOT NULL,
  emissions_certified boolean NOT NULL,
  FOREIGN KEY (sku, article) REFERENCES offers (sku, article) ON DELETE CASCADE,
  CHECK (choke_kind = 'electric' OR (choke_amps_cold = 0 AND choke_amps_steady = 0)),
  CHECK (choke_amps_steady <= choke_amps_cold)
);

CREATE TABLE carburetor_ports (
  sku identifier REFERENCES carburetors ON DELETE CASCADE,
  id identifier,
  place smallint NOT NULL,
  location side NOT NULL,
  hose_in size_in,
  npt_in size_in,
  signal text NOT NULL CHECK (signal IN ('ported', 'manifold')),
  large boolean NOT NULL,
  PRIMARY KEY (sku, id),
  UNIQUE (sku, place),
  CHECK ((hose_in IS NULL) <> (npt_in IS NULL)) -- a nipple or a tapped hole
);

CREATE TABLE carburetor_in_box (
  sku identifier REFERENCES carburetors ON DELETE CASCADE,
  place smallint NOT NULL,
  need text CHECK (need ~ '^[a-z0-9_]+\.[a-z0-9_]+$'),
  part_sku identifier REFERENCES offers DEFERRABLE INITIALLY DEFERRED,
  quantity integer NOT NULL CHECK (quantity > 0),
  PRIMARY KEY (sku, place),
  CHECK ((need IS NULL) <> (part_sku IS NULL))
);
CREATE INDEX carburetor_in_box_part_sku ON carburetor_in_box (part_sku) WHERE part_sku IS NOT NULL;

CREATE TABLE bundles (
  sku identifier PRIMARY KEY,
  article text NOT NULL GENERATED ALWAYS AS ('bundle') STORED,
  FOREIGN KEY (sku, article) REFERENCES offers (sku, article) ON DELETE CASCADE
);

CREATE TABLE bundle_contents (
  bundle_sku identifier REFERENCES bundles ON DELETE CASCADE,
  place smallint NOT NULL,
  part_sku identifier NOT NULL REFERENCES parts DEFERRABLE INITIALLY DEFERRED,
  quantity integer NOT NULL CHECK (quantity > 0), -- pieces
  PRIMARY KEY (bundle_sku, part_sku),
  UNIQUE (bundle_sku, place)
);
CREATE INDEX bundle_contents_part_sku ON bundle_contents (part_sku);

-- Packs on hand. A row is never deleted while its offer exists: none on hand is 0, so that
-- what changed since a revision can be read from the rows.
CREATE TABLE stock (
  sku identifier REFERENCES offers ON DELETE CASCADE,
  location identifier REFERENCES locations,
  on_hand integer NOT NULL CHECK (on_hand >= 0),
  revision bigint NOT NULL,
  PRIMARY KEY (sku, location)
);
CREATE INDEX stock_revision ON stock (revision);

-- Rules as their authors wrote them. The texts of a file, in order of place, put together
-- are the file again, comments and all.
CREATE TABLE rules (
  id text COLLATE "C" PRIMARY KEY CHECK (id ~ '^[a-z0-9][a-z0-9-]*$'),
  file text COLLATE "C" NOT NULL CHECK (file ~ '^[A-Za-z0-9._-]+\.yaml$'),
  place integer NOT NULL,
  source text NOT NULL,
  revision bigint NOT NULL,
  UNIQUE (file, place) DEFERRABLE INITIALLY DEFERRED
);

-- +goose Down
DROP TABLE rules, stock, bundle_contents, bundles, carburetor_in_box, carburetor_ports, carburetors,
  part_relations, parts, offers, vehicles, locations, catalogue;
DROP DOMAIN side, link_end, flange, joint, thread, size_in;
DROP FUNCTION size_inches;
DROP DOMAIN not_negative, positive, label, identifier;
