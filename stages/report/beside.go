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

// beside writes what no verdict rests on.
func (w *writer) beside(e entry) {
	if e.DesignIn != nil {
		w.wrap("  ", "that was of these erections; of the design, however often it is put up: "+between(e.DesignIn))
	}
	if e.PowerCorrectedDB != nil {
		text := "less the difference of the logged powers: " + signed(*e.PowerCorrectedDB)
		if e.PowerCorrectedIn != nil {
			text += "; " + between(e.PowerCorrectedIn)
		}
		w.wrap("  ", text)
	}
	if e.ExplainedDB != nil {
		w.wrap("  ", "of the difference, mismatch and line loss by the sweeps explain: "+signed(*e.ExplainedDB))
	}
	if o := e.WithoutLateDrops; o != nil {
		text := "without the drops entered after the first look: " + clean(o.Verdict)
		if o.EstimateDB != nil && o.IntervalDB != nil {
			text += fmt.Sprintf(", %s; %s", signed(*o.EstimateDB), between(o.IntervalDB))
		}
		w.wrap("  ", text)
	}
	w.repeated(e)
}

// repeated writes how each arm came out, erection by erection.
func (w *writer) repeated(e entry) {
	for _, r := range e.Repeated {
		var parts []string
		for _, one := range r.Erections {
			db := "not heard"
			if one.EstimateDB != nil {
				db = signed(*one.EstimateDB)
			}
			parts = append(parts, fmt.Sprintf("erection %d %s", one.Erection, db))
		}
		w.wrap("  ", fmt.Sprintf("%s against %s: %s", clean(r.Arm), clean(strings.Join(r.Against, " and ")), strings.Join(parts, ", ")))
		if r.SpreadDB != nil {
			w.wrap("    ", fmt.Sprintf("standard deviation from one erection to the next: %.2f dB; 95 %%: %s", *r.SpreadDB, strings.ReplaceAll(between(r.SpreadIn), "+", "")))
		}
	}
}

// repeatability writes how far the sweeps of one arm lie apart.
func (w *writer) repeatability(e entry) {
	for _, r := range e.Repeatability {
		if r.SWRSD == nil {
			w.wrap("  ", fmt.Sprintf("%s, %d sweeps: no frequency has two readings, so they can't be compared", clean(r.Arm), r.Sweeps))
			continue
		}
		text := fmt.Sprintf("%s, %d sweeps: one differs from another by a standard deviation of %g in SWR", clean(r.Arm), r.Sweeps, *r.SWRSD)
		if r.ReturnLossSD != nil {
			text += fmt.Sprintf(" and %g dB in return loss", *r.ReturnLossSD)
		}
		w.wrap("  ", fmt.Sprintf("%s, over %d frequencies", text, r.Frequencies))
	}
}
