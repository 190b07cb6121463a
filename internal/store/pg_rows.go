package store

import (
	"encoding"
	"strings"

	"github.com/jackc/pgx/v5/pgtype"

	"onetrip/internal/catalog"
	"onetrip/internal/units"
)

// Columns of the tables and the fields behind them, in the same order: a field is what
// pgx scans into and, for a write, reads from.

const offerColumns = "sku,name,finish,pack_quantity,price_minor,lead_time_days,gtin,discontinued,replaced_by"

func offerFields(o *catalog.Offer) []any {
	return []any{&o.SKU, &o.Name, &o.Finish, &o.PackQuantity, &o.Price.AmountMinor, &o.LeadTimeDays,
		orNull(&o.GTIN), &o.Discontinued, orNull(&o.ReplacedBy)}
}

const vehicleColumns = "id,make,model,year," +
	"engine_displacement_in3,engine_cylinders,engine_tune,engine_redline_rpm,engine_volumetric_efficiency,engine_idle_vacuum_inhg," +
	"intake_flange,intake_hood_clearance_in,intake_stud_length_in,intake_stud_thread," +
	"throttle_kind,throttle_end,throttle_bracket_on,throttle_pedal_travel_in," +
	"transmission_kind,transmission_downshift,transmission_cable_travel_in," +
	"fuel_pump,fuel_pressure_psi,fuel_free_flow_gph,fuel_line_od_in,fuel_line_end,fuel_run_length_in,fuel_return_line,fuel_ethanol_percent," +
	"ignition_advance," +
	"accessories_air_conditioning,accessories_idle_stop_solenoid,accessories_power_brakes,accessories_pcv," +
	"accessories_canister_purge,accessories_egr,accessories_cruise_control," +
	"electrical_nominal_volts,electrical_negative_ground,electrical_choke_feed_length_ft," +
	"air_cleaner_neck_in,air_cleaner_height_in,air_cleaner_stud_thread," +
	"site_altitude_ft,road_on_road,road_emissions_controlled"

func vehicleFields(v *catalog.Vehicle) []any {
	return []any{&v.ID, orNull(&v.Make), orNull(&v.Model), yearOrNull{&v.Year},
		&v.Engine.DisplacementIn3, &v.Engine.Cylinders, &v.Engine.Tune, &v.Engine.RedlineRPM, &v.Engine.VolumetricEfficiency, &v.Engine.IdleVacuumInHg,
		&v.Intake.Flange, &v.Intake.HoodClearanceIn, &v.Intake.StudLengthIn, threadOrNull(&v.Intake.StudThread),
		&v.Throttle.Kind, &v.Throttle.End, &v.Throttle.BracketOn, &v.Throttle.PedalTravelIn,
		&v.Transmission.Kind, &v.Transmission.Downshift, &v.Transmission.CableTravelIn,
		&v.Fuel.Pump, &v.Fuel.PressurePSI, &v.Fuel.FreeFlowGPH, asText(&v.Fuel.LineODIn), &v.Fuel.LineEnd, &v.Fuel.RunLengthIn, &v.Fuel.ReturnLine, &v.Fuel.EthanolPercent,
		&v.Ignition.Advance,
		&v.Accessories.AirConditioning, &v.Accessories.IdleStopSolenoid, &v.Accessories.PowerBrakes, &v.Accessories.PCV,
		&v.Accessories.CanisterPurge, &v.Accessories.EGR, &v.Accessories.CruiseControl,
		&v.Electrical.NominalVolts, &v.Electrical.NegativeGround, &v.Electrical.ChokeFeedLengthFt,
		&v.AirCleaner.NeckIn, &v.AirCleaner.HeightIn, threadOrNull(&v.AirCleaner.StudThread),
		&v.Site.AltitudeFt, &v.Road.OnRoad, &v.Road.EmissionsControlled}
}

const carburetorColumns = "series,flow_cfm,rated_at_inhg,barrels,flange,height_in,neck_in,inlet_end,inlet_facing,max_fuel_psi,needle_seat_in," +
	"choke_kind,choke_amps_cold,choke_amps_steady," +
	"throttle_ends,throttle_cable_radius_in,throttle_swing_deg,throttle_transmission_radius_in," +
	"jets_main_in,jets_secondary_in,jets_rod_cruise_in,jets_rod_power_in,air_cleaner_stud_thread,emissions_certified"

func carburetorFields(k *catalog.Carburetor) []any {
	return []any{&k.Series, &k.FlowCFM, &k.RatedAtInHg, &k.Barrels, &k.Flange, &k.HeightIn, &k.NeckIn, endText(&k.Inlet.End), &k.Inlet.Facing, &k.MaxFuelPSI, &k.NeedleSeatIn,
		&k.Choke.Kind, &k.Choke.AmpsCold, &k.Choke.AmpsSteady,
		&k.Throttle.Ends, &k.Throttle.CableRadiusIn, &k.Throttle.SwingDeg, &k.Throttle.TransmissionRadiusIn,
		&k.Jets.MainIn, &k.Jets.SecondaryIn, &k.Jets.RodCruiseIn, &k.Jets.RodPowerIn, asText(&k.AirCleanerStud), &k.EmissionsCertified}
}

const portColumns = "id,location,hose_in,npt_in,signal,large"

func portFields(p *catalog.Port) []any {
	return []any{&p.ID, &p.Location, asText(&p.HoseIn), asText(&p.NPTIn), &p.Signal, &p.Large}
}

const inBoxColumns = "need,part_sku,quantity"

func inBoxFields(b *catalog.InBox) []any {
	return []any{orNull(&b.Need), orNull(&b.SKU), &b.Quantity}
}

// Parts are read by partReader, so these fields are for writing only.
const partColumns = "kind,attributes,end_1,end_2,length_in,height_in"

func partValues(p *catalog.Part) []any {
	ends := [2]*string{}
	for i, e := range p.Ends {
		text := e.String()
		ends[i] = &text
	}
	positive := func(v float64) any {
		if v == 0 {
			return nil
		}
		return v
	}
	return []any{string(p.Kind), attributesJSON(p.Attributes), ends[0], ends[1], positive(p.LengthIn), positive(p.HeightIn)}
}

func columns(list string) []string { return strings.Split(list, ",") }

// textField is a field kept as text, NULL when it is empty.
type textField struct {
	get func() string
	set func(string) error
}

// ScanText implements pgtype.TextScanner.
func (f textField) ScanText(v pgtype.Text) error {
	if !v.Valid {
		return nil
	}
	return f.set(v.String)
}

// TextValue implements pgtype.TextValuer.
func (f textField) TextValue() (pgtype.Text, error) {
	s := f.get()
	return pgtype.Text{String: s, Valid: s != ""}, nil
}

func orNull(p *string) textField {
	return textField{func() string { return *p }, func(s string) error { *p = s; return nil }}
}

// asText is for sizes and threads, whose zero value is "none".
func asText[T interface{ String() string }, P interface {
	*T
	encoding.TextUnmarshaler
}](p P) textField {
	return textField{func() string { return (*p).String() }, func(s string) error { return p.UnmarshalText([]byte(s)) }}
}

func threadOrNull(p **units.Thread) textField {
	return textField{
		func() string {
			if *p == nil {
				return ""
			}
			return (*p).String()
		},
		func(s string) error { *p = new(units.Thread); return (*p).UnmarshalText([]byte(s)) }}
}

func endText(p *catalog.End) textField {
	return textField{p.String, func(s string) (err error) { *p, err = catalog.ParseEnd(s); return err }}
}

// yearOrNull is a year, NULL when it is 0.
type yearOrNull struct{ year *int }

// ScanInt64 implements pgtype.Int64Scanner.
func (f yearOrNull) ScanInt64(v pgtype.Int8) error { *f.year = int(v.Int64); return nil }

// Int64Value implements pgtype.Int64Valuer.
func (f yearOrNull) Int64Value() (pgtype.Int8, error) {
	return pgtype.Int8{Int64: int64(*f.year), Valid: *f.year != 0}, nil
}
