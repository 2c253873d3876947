package report

import (
	"fmt"
	"strings"
)

// beside is what stands beside the numbers that a verdict rests on.
type beside struct {
	PowerCorrectedDB *float64     `json:"power_corrected_db"`
	PowerCorrectedIn *[2]*float64 `json:"power_corrected_interval_db"`
	DesignIn         *[2]*float64 `json:"design_interval_db"`
	ExplainedDB      *float64     `json:"explained_by_match_db"`
	Repeated         []struct {
		Arm       string
		Against   []string
		Erections []struct {
			Erection, Blocks int
			EstimateDB       *float64 `json:"estimate_db"`
		}
		SpreadDB *float64     `json:"spread_db"`
		SpreadIn *[2]*float64 `json:"spread_interval_db"`
	}
	Repeatability []struct {
		Arm, Plane          string
		Sweeps, Frequencies int
		SWRSD               *float64 `json:"swr_sd"`
		ReturnLossSD        *float64 `json:"return_loss_sd_db"`
	}
	WithoutLateDrops *struct {
		Verdict    string
		EstimateDB *float64     `json:"estimate_db"`
		IntervalDB *[2]*float64 `json:"interval_db"`
	} `json:"without_late_drops"`
}

// besideRows is what no verdict rests on: what it is of, and the figures.
func (e *entry) besideRows() rows {
	var r rows
	r.interval("that was of these erections; of the design, however often it is put up", e.DesignIn)
	if e.PowerCorrectedDB != nil {
		text := signed(*e.PowerCorrectedDB)
		if e.PowerCorrectedIn != nil {
			text += "; " + between(e.PowerCorrectedIn)
		}
		r.add("less the difference of the logged powers", text)
	}
	if e.ExplainedDB != nil {
		r.add("of the difference, mismatch and line loss by the sweeps explain", signed(*e.ExplainedDB))
	}
	if o := e.WithoutLateDrops; o != nil {
		text := clean(o.Verdict)
		if o.EstimateDB != nil && o.IntervalDB != nil {
			text += fmt.Sprintf(", %s; %s", signed(*o.EstimateDB), between(o.IntervalDB))
		}
		r.add("without the drops entered after the first look", text)
	}
	return append(r, e.repeatedRows()...)
}

// repeatedRows tells how each arm came out, erection by erection.
func (e *entry) repeatedRows() rows {
	var out rows
	for _, r := range e.Repeated {
		var parts []string
		for _, one := range r.Erections {
			db := "not heard"
			if one.EstimateDB != nil {
				db = signed(*one.EstimateDB)
			}
			parts = append(parts, fmt.Sprintf("erection %d %s", one.Erection, db))
		}
		out.add(clean(r.Arm)+" against "+clean(strings.Join(r.Against, " and ")), strings.Join(parts, ", "))
		if r.SpreadDB != nil {
			out.add("standard deviation from one erection to the next", fmt.Sprintf("%.2f dB; 95 %%: %s", *r.SpreadDB, strings.ReplaceAll(between(r.SpreadIn), "+", "")))
		}
	}
	return out
}

// repeatabilityRows tells how far the sweeps of one arm lie apart.
func (e *entry) repeatabilityRows() rows {
	var out rows
	for _, r := range e.Repeatability {
		text := "no frequency has two readings, so they can't be compared"
		if r.SWRSD != nil {
			text = fmt.Sprintf("one differs from another by a standard deviation of %g in SWR", *r.SWRSD)
			if r.ReturnLossSD != nil {
				text += fmt.Sprintf(" and %g dB in return loss", *r.ReturnLossSD)
			}
			text += fmt.Sprintf(", over the readings at %d frequencies", r.Frequencies)
		}
		out.add(clean(r.Arm)+", "+counted(r.Sweeps, "sweep"), text)
	}
	return out
}

// list writes the lines of a list into the text.
func (w *writer) list(of rows) {
	for _, row := range of {
		w.wrap("  ", row[0]+": "+row[1])
	}
}
