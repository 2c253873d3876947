package experiments

import (
	"fmt"
	"strings"
)

// claimKinds are the kinds of claim, in the order of the reference.
var claimKinds = []string{"level", "directivity", "heard_by", "reciprocity", "match", "repeat", "null", "known_step"}

func claimKeys() []key {
	return []key{
		{path: "claim[].name", kind: aText, need: required, doc: "the claim in a few words", example: `"lift helps"`},
		{path: "claim[].kind", kind: aText, words: claimKinds, need: required,
			doc: "what is claimed: level (all directions together), directivity (depends on azimuth), heard_by (share of the " +
				"listening stations), reciprocity (sent against received), match (sweeps), repeat (same arm put up again), " +
				"null (one configuration under two names), known_step (a power step must show)", example: `"level"`},
		{path: "claim[].compare", kind: aList, item: aText, most: 2,
			or:  "required with level, directivity, heard_by, null, known_step",
			doc: "two arms: first minus second", example: `["high", "low"]`},
		{path: "claim[].arms", kind: aList, item: aText, or: "required with match, repeat, reciprocity; one arm with directivity",
			doc: "the arms of a claim that compares none", example: `["high", "low"]`},
		{path: "claim[].direction", kind: aText, words: []string{"sent", "received"}, def: "sent",
			doc: "who heard me, or whom I heard; not with reciprocity and match", example: `"sent"`},
		{path: "claim[].within_km", kind: aList, item: aNumber, most: 2, unit: "km", span: from(0, farthestKm),
			doc: "only stations at this distance", example: "[0, 500]"},
		{path: "claim[].bands", kind: aList, item: aText, words: bandNames(), or: "default: all of the schedule",
			doc: "only these bands", example: `["20m"]`},
		{path: "claim[].shape", kind: aText, words: []string{"one-sided", "two-sided", "any"}, or: "required with directivity, else not used",
			doc: "first harmonic, second harmonic, or both", example: `"one-sided"`},
		{path: "claim[].toward_deg", kind: aNumber | aText, unit: "deg", span: from(0, 360), words: []string{"predicted"},
			or: "directivity only", doc: "axis named beforehand, clockwise from north, or from the computed pattern", example: "300"},
		{path: "claim[].frame", kind: aText, words: []string{"wire", "north"}, or: "directivity only",
			doc: "what directions are told from when several experiments are put together: the way in which the wire runs " +
				"(slope_azimuth_deg, the same for both arms), or north; no verdict of this experiment depends on it", example: `"wire"`},
		{path: "claim[].swr_at_most", kind: aNumber, span: above(1, 100), or: "required with match, else not used",
			doc: "highest SWR that is a match", example: "2.0"},
		{path: "claim[].from_mhz", kind: aNumber, unit: "MHz", span: above(0, 3000), or: "match only; default: the band's lower edge",
			doc: "lowest frequency of the match", example: "14.0"},
		{path: "claim[].to_mhz", kind: aNumber, unit: "MHz", span: above(0, 3000), or: "match only; default: the band's upper edge",
			doc: "highest frequency of the match", example: "14.1"},
		{path: "claim[].step_db", kind: aNumber, unit: "dB", span: from(-60, 60), or: "required with known_step, else not used",
			doc: "declared power of the first arm over the second", example: "3"},
		{path: "claim[].smallest_difference_points", kind: aNumber, unit: "percentage points", span: above(0, 100),
			or: "heard_by only; default: that of the file", doc: "the smallest difference of shares that matters", example: "10"},
	}
}

func spotKeys() []key {
	return []key{
		{path: "spots[].files", kind: aList, item: aText, need: required, below: dataDir,
			doc: "names or patterns of files", example: `["spots/*.adi"]`},
		{path: "spots[].format", kind: aText, words: []string{"adif", "table", "parquet", "arrow"}, need: required,
			doc: "form of the files; table is any delimited text", example: `"adif"`},
		{path: "spots[].seen_from", kind: aText, words: []string{"me", "receiver"}, or: "required with adif, else not used",
			doc: "my own log, or each record written by the listener", example: `"me"`},
		{path: "spots[].role", kind: aText, words: []string{"trial", "background"}, def: "trial",
			doc: "reports of the trial, or of other transmitters", example: `"trial"`},
		{path: "spots[].time_is", kind: aText, words: []string{"slot start", "slot end", "within slot"}, def: "slot start",
			doc: "what the time of a report stands for", example: `"slot start"`},
		{path: "spots[].columns", kind: aTable, or: "required with table, else not used",
			doc:     "which column holds what",
			example: `{ time = "when", transmitter = "who sent", receiver = "who heard", band = "band", snr_db = "level" }`},
		{path: "spots[].time_layout", kind: aText, def: "rfc3339",
			doc: "form of times: rfc3339, unix, unix_ms, or a layout of YYYY MM DD hh mm ss", example: `"DD.MM.YYYY hh:mm:ss"`},
	}
}

func sweepKeys() []key {
	return []key{
		{path: "sweeps[].arm", kind: aText, need: required, doc: "the arm that was measured", example: `"low"`},
		{path: "sweeps[].files", kind: aList, item: aText, need: required, below: dataDir,
			doc: "names or patterns of files", example: `["sweeps/low-*.s1p"]`},
		{path: "sweeps[].format", kind: aText, words: []string{"touchstone", "table"}, def: "touchstone",
			doc: "form of the files; Touchstone one-port", example: `"touchstone"`},
		{path: "sweeps[].at", kind: aText, words: []string{"radio", "feedpoint"}, def: "radio",
			doc: "where the analyser was; at the radio the declared feedline is removed", example: `"radio"`},
		{path: "sweeps[].z0_ohm", kind: aNumber, unit: "ohm", span: above(0, 10000), def: usualZ0Ohm,
			doc: "what SWR and return loss refer to", example: "50"},
		{path: "sweeps[].columns", kind: aTable, or: "required with table, else not used",
			doc: "which column holds what", example: `{ frequency_mhz = "f", swr = "SWR" }`},
	}
}

// tableKeys are the keys of delimited text, for spots and for sweeps.
func tableKeys(source string) []key {
	return []key{
		{path: source + "[].delimiter", kind: aText, words: []string{",", ";", "\t", "|"}, def: ",",
			doc: "what stands between columns; numbers have a decimal point", example: `","`},
		{path: source + "[].header", kind: aBool, def: true,
			doc: "whether the first line names the columns; without it columns are numbers from 1", example: "true"},
	}
}

// left is a name on the left of columns, with what it may hold.
type left struct {
	name  string
	units []string // the first is that of the name
	most  int      // columns it may be put together from
	doc   string
	gives string // example
}

// suggestion is a line that can be pasted into columns.
func (l left) suggestion(header bool) string {
	gives := l.gives
	switch {
	case !header && strings.HasSuffix(l.name, "_position"):
		gives = "[1, 2]"
	case !header:
		gives = "1"
	}
	return fmt.Sprintf("for example %s = %s", l.name, gives)
}

// spotColumns are the left-hand names of a spots table.
var spotColumns = []left{
	{"time", nil, 2, "time of the report", `"when"`},
	{"transmitter", nil, 1, "call sign of the transmitter", `"who sent"`},
	{"transmitter_locator", nil, 1, "its locator", `"from where"`},
	{"transmitter_position", nil, 2, "its latitude and longitude, degrees", `["lat", "lon"]`},
	{"receiver", nil, 1, "call sign of the receiver", `"who heard"`},
	{"receiver_locator", nil, 1, "its locator", `"where"`},
	{"receiver_position", nil, 2, "its latitude and longitude, degrees", `["lat", "lon"]`},
	{"band", nil, 1, "band, by its ADIF name", `"band"`},
	{"frequency_mhz", []string{"MHz", "kHz", "Hz"}, 1, "frequency, instead of band", `{ column = "hz", unit = "Hz" }`},
	{"snr_db", nil, 1, "signal to noise ratio in 2500 Hz", `"level"`},
	{"power_w", []string{"W", "mW", "dBm"}, 1, "declared power of the transmitter", `{ column = "power", unit = "dBm" }`},
	{"mode", nil, 1, "mode", `{ value = "FT8" }`},
	{"submode", nil, 1, "submode", `"submode"`},
	{"slot_s", nil, 1, "slot of the mode", `{ value = "15" }`},
}

// sweepColumns are the left-hand names of a sweeps table.
var sweepColumns = []left{
	{"frequency_mhz", []string{"MHz", "kHz", "Hz"}, 1, "frequency", `{ column = "f", unit = "Hz" }`},
	{"swr", nil, 1, "standing wave ratio", `"SWR"`},
	{"return_loss_db", nil, 1, "return loss", `"RL"`},
	{"r_ohm", nil, 1, "resistance", `"R"`},
	{"x_ohm", nil, 1, "reactance", `"X"`},
}

func columnKeys(source string, names []left) []key {
	var keys []key
	for _, l := range names {
		k := key{path: source + "[].columns." + l.name, kind: aText | anInteger | aTable, doc: l.doc, example: l.gives, open: true}
		if l.most > 1 {
			k.kind |= aList
			k.most = l.most
		}
		if l.units != nil {
			k.unit = l.units[0]
		}
		keys = append(keys, k)
	}
	return keys
}

// knownKeys is the whole table, in the order of the reference.
func knownKeys() []key {
	keys := append(topKeys(), stationKeys()...)
	keys = append(keys, fixedKeys()...)
	keys = append(keys, armKeys()...)
	for _, table := range []string{"fixed", "arm[]"} {
		for _, k := range append(variableKeys(), variableParts()...) {
			k.path = join(table, k.path)
			keys = append(keys, k)
		}
	}
	keys = append(append(keys, scheduleKeys()...), claimKeys()...)
	keys = append(append(keys, spotKeys()...), tableKeys("spots")...)
	keys = append(keys, columnKeys("spots", spotColumns)...)
	keys = append(append(keys, sweepKeys()...), tableKeys("sweeps")...)
	keys = append(keys, columnKeys("sweeps", sweepColumns)...)
	return append(keys, key{path: "log.switches", kind: aText, def: "", below: dataDir, doc: "the switch log", example: `"log/switches.csv"`})
}
