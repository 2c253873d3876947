package experiments

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/gowebpki/jcs"
)

// Canonical gives [Experiment.Decisive] as canonical JSON (RFC 8785): the bytes that, with the drawn order, are
// sealed. Equal experiments give equal bytes, whatever the order of keys and the spacing of the file.
func (e *Experiment) Canonical() ([]byte, error) {
	plain, err := json.Marshal(e.Decisive())
	if err != nil {
		return nil, fmt.Errorf("encoding the experiment: %w", err)
	}
	canonical, err := jcs.Transform(plain)
	if err != nil {
		return nil, fmt.Errorf("bringing the experiment into canonical form: %w", err)
	}
	return canonical, nil
}

// Decisive gives all that decides the verdict, defaults filled in, as plain values of JSON: keys as in the file, lengths
// of time as numbers in the unit of the key, times as RFC 3339 with Z, azimuths from true north. Title, data
// folder, names of files and delimiters are left out. The seed is a text, since numbers of JSON keep 53 bits only
// (RFC 8785, appendix D).
func (e *Experiment) Decisive() map[string]any {
	out := map[string]any{
		"fairlobe": 1, "question": e.Question, "smallest_difference_db": e.SmallestDB,
		"smallest_difference_points": e.SmallestPoints, "station": e.Station.decisive(), "fixed": e.Fixed.decisive(),
		"schedule": e.Schedule.decisive(),
		"arm":      each(e.Arms, Arm.decisive), "claim": each(e.Claims, Claim.decisive),
		"spots": each(e.Spots, SpotSource.decisive), "sweeps": each(e.Sweeps, SweepSource.decisive),
	}
	if e.HasSeed {
		out["seed"] = strconv.FormatUint(e.Seed, 10)
	}
	if e.Control != nil {
		out["control"] = map[string]any{"call": e.Control.Call, "locator": e.Control.Locator}
	}
	return out
}

// each turns a list; an empty one is [] and not null.
func each[T, R any](list []T, f func(T) R) []any {
	out := make([]any, len(list))
	for i, v := range list {
		out[i] = f(v)
	}
	return out
}

func texts(list []string) []any { return each(list, func(s string) string { return s }) }

func (s Station) decisive() map[string]any {
	var ground any = s.Ground.Name
	if s.Ground.Name == "" {
		ground = map[string]any{"permittivity": s.Ground.Permittivity, "conductivity_s_per_m": s.Ground.ConductivitySPM}
	}
	return map[string]any{"call": s.Call, "also": texts(s.Also), "locator": s.Locator, "ground": ground}
}

func (f Fixed) decisive() map[string]any {
	out := variableMap(f.Variables)
	out["mode"], out["slot_s"], out["cut_at_db"], out["sends"] = f.Mode, f.Slot.Seconds(), f.CutDB, f.Sends
	out["other"] = variableMap(f.Other)
	return out
}

func (a Arm) decisive() map[string]any {
	out := variableMap(a.Variables)
	out["name"], out["other"] = a.Name, variableMap(a.Other)
	return out
}

func variableMap(list []Variable) map[string]any {
	out := map[string]any{}
	for _, v := range list {
		switch value := v.Value.(type) {
		case Loss:
			out[v.Name] = map[string]any{"db": value.DB, "at_mhz": value.AtMHz,
				"velocity_factor": value.VelocityFactor, "z0_ohm": value.Z0Ohm}
		case []Wire:
			out[v.Name] = each(value, func(w Wire) any {
				return map[string]any{"from_m": w.FromM[:], "to_m": w.ToM[:], "diameter_mm": w.DiameterMM}
			})
		default:
			out[v.Name] = value
		}
	}
	return out
}

func (s Schedule) decisive() map[string]any {
	out := map[string]any{"settle_min": s.Settle.Minutes(), "spot_interval_min": s.SpotInterval.Minutes(),
		"stopping": s.Stopping, "changeover": s.Changeover}
	if s.File != "" {
		out["order"] = s.Order
		return out
	}
	out["bands"], out["blocks"], out["dwell_min"] = texts(s.Bands), s.Blocks, s.Dwell.Minutes()
	out["pattern"], out["rotate"] = s.Pattern, s.Rotate
	out["arm_change_min"], out["band_change_min"] = s.ArmChange.Minutes(), s.BandChange.Minutes()
	out["breaks"] = each(s.Breaks, func(b Break) any {
		return map[string]any{"after_block": b.AfterBlock, "min": b.Length.Minutes()}
	})
	out["sessions"] = each(s.Sessions, func(x Session) any {
		return map[string]any{"start": x.Start.Format(time.RFC3339Nano), "blocks": x.Blocks, "erection": x.Erection}
	})
	return out
}

func (c Claim) decisive() map[string]any {
	out := map[string]any{"name": c.Name, "kind": c.Kind, "bands": texts(c.Bands)}
	arms := "arms"
	if c.Compares {
		arms = "compare"
	}
	out[arms] = texts(c.Arms)
	takes := formOfClaim(c.Kind, !c.Compares).takes
	put := func(key string, there bool, value any) {
		if there && slices.Contains(takes, key) {
			out[key] = value
		}
	}
	put("direction", true, c.Direction)
	put("within_km", c.WithinKm != nil, c.WithinKm)
	put("shape", true, c.Shape)
	put("toward_deg", c.TowardDeg != nil, c.TowardDeg)
	put("toward_deg", c.TowardPredicted, "predicted")
	put("frame", c.Frame != "", c.Frame) // what was sealed before the key existed stays sealed
	put("swr_at_most", true, c.SWRAtMost)
	put("from_mhz", c.FromMHz != nil, c.FromMHz)
	put("to_mhz", c.ToMHz != nil, c.ToMHz)
	put("step_db", c.StepDB != nil, c.StepDB)
	put("smallest_difference_points", true, c.SmallestPoints)
	return out
}

func (s SpotSource) decisive() map[string]any {
	out := map[string]any{"format": s.Format, "role": s.Role, "time_is": s.TimeIs}
	if s.Format == "adif" {
		out["seen_from"] = s.SeenFrom
	}
	if s.Format == "table" {
		out["columns"], out["header"], out["time_layout"] = s.Table.columns(), s.Table.Header, s.Table.TimeLayout
	}
	return out
}

func (s SweepSource) decisive() map[string]any {
	out := map[string]any{"arm": s.Arm, "format": s.Format, "at": s.At}
	if s.Z0Ohm != usualZ0Ohm { // what was sealed before the key existed stays sealed
		out["z0_ohm"] = s.Z0Ohm
	}
	if s.Format == "table" {
		out["columns"], out["header"] = s.Table.columns(), s.Table.Header
	}
	return out
}

// columns gives each column in its longest form.
func (f TableForm) columns() map[string]any {
	out := map[string]any{}
	for name, c := range f.Columns {
		one := map[string]any{"unit": c.Unit}
		if c.Value != nil {
			one["value"] = *c.Value
		} else {
			one["column"] = texts(c.Columns)
		}
		out[name] = one
	}
	return out
}
