package rehearsal

import (
	"fmt"
	"slices"

	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule"
)

// SpotsTable is a table that an experiment without any may take over.
const SpotsTable = `[[spots]]
files = ["spots/*.csv"]
format = "table"
columns = { time = "time", transmitter = "sender", receiver = "hearer", receiver_locator = "locator", band = "band", snr_db = "snr" }
`

// canBeWritten tells why the data of an experiment can't be rehearsed.
func canBeWritten(e *experiments.Experiment, planned []schedule.Dwell) error {
	if len(planned) == 0 {
		return fmt.Errorf("the schedule has no dwells")
	}
	if !slices.ContainsFunc(e.Spots, func(s experiments.SpotSource) bool { return s.Role == "trial" }) {
		return diag.List{{Pos: e.Pos("spots"), Msg: "the experiment has no [[spots]] with role = \"trial\", so that there is no form to write reports in",
			Mend: "name where reports will be found, for example\n\n" + SpotsTable}}
	}
	var faults diag.List
	for n, s := range e.Spots {
		key := fmt.Sprintf("spots[%d]", n)
		_, _, named := adifMode(e.Fixed.Mode)
		switch {
		case s.Format != "adif" && s.Format != "table":
			faults = append(faults, diag.Diag{Pos: e.Pos(key + ".format"), Msg: fmt.Sprintf("spots in the format %q can't be rehearsed", s.Format),
				Mend: `rehearse with format = "adif" or format = "table"`})
		case s.Format == "adif" && !named:
			faults = append(faults, diag.Diag{Pos: e.Pos(key + ".format"), Msg: fmt.Sprintf("a log in ADIF can't name the mode %s", e.Fixed.Mode),
				Mend: `rehearse with format = "table"`, Related: []diag.Pos{e.Pos("fixed.mode")}})
		case s.Format == "table":
			faults = append(faults, timesOf(e, s, key)...)
		}
	}
	return faults.Err()
}

// timesOf tells of times that don't say which slot they mean.
func timesOf(e *experiments.Experiment, s experiments.SpotSource, key string) diag.List {
	time := s.Table.Columns["time"]
	pos := e.Pos(key + ".time_layout")
	if time.Value != nil {
		return diag.List{{Pos: e.Pos(key + ".columns.time"), Msg: "all reports have one time, so that none can be rehearsed", Mend: "name the column of the time"}}
	}
	if !hasSeconds(s.Table.TimeLayout) && e.Fixed.Slot.Seconds() < 60 {
		return diag.List{{Pos: pos, Msg: fmt.Sprintf("time_layout = %q has no seconds, and a slot is %s s long", s.Table.TimeLayout, plainNumber(e.Fixed.Slot.Seconds(), 3)),
			Mend: "add ss to time_layout; files without seconds can't be used with such slots"}}
	}
	if len(time.Columns) == 2 {
		if _, _, ok := halves(s.Table.TimeLayout); !ok {
			return diag.List{{Pos: pos, Msg: fmt.Sprintf("time_layout = %q has no blank between the two columns of the time", s.Table.TimeLayout),
				Mend: `write a layout such as "YYYY-MM-DD hh:mm:ss"`}}
		}
	}
	return nil
}
