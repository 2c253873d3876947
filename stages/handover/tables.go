package handover

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/station"
)

// Hidden is what was taken out or changed, for the screen and for the proof that nothing else was.
type Hidden struct {
	// Calls are the call signs of stations, each once, sorted; Locators their locators; Positions counts the stations whose place
	// was told in degrees.
	Calls, Locators []string
	Positions       int
	// Sweeps are the names of the sweeps' files, sorted.
	Sweeps []string
	// Reasons counts dwells of which the words of a reason were dropped; Notes are the texts of the log that were.
	Reasons int
	Notes   []string
	// Texts maps texts as they stand in verdicts at home to what stands there away, where the two differ.
	Texts map[string]string
}

// NewHidden is that of nothing.
func NewHidden() *Hidden { return &Hidden{Texts: map[string]string{}} }

// hider makes private forms.
type hider struct {
	key    []byte
	sweeps map[string]string
	hidden *Hidden
	places map[string]int // how many places a call has so far
	calls  map[string]bool
	at     map[string]bool
}

// HideTables gives the private forms of tables that the judge does not make. seedAndName tells the experiment. The caller releases
// both what comes in and what comes out.
func (k Key) HideTables(tables map[string]arrow.Record, seedAndName string, hidden *Hidden) (map[string]arrow.Record, error) {
	h := &hider{key: k.stations(seedAndName), hidden: hidden,
		sweeps: map[string]string{}, places: map[string]int{}, calls: map[string]bool{}, at: map[string]bool{}}
	h.nameSweeps(tables["sweeps"])
	out := map[string]arrow.Record{}
	for _, name := range slices.Sorted(maps.Keys(tables)) {
		rec, err := h.hide(name, tables[name])
		if err != nil {
			return nil, fmt.Errorf("taking what is private out of table %s: %w", name, err)
		}
		out[name] = rec
	}
	hidden.Calls, hidden.Locators = slices.Sorted(maps.Keys(h.calls)), slices.Sorted(maps.Keys(h.at))
	return out, nil
}

// nameSweeps numbers the sweeps by their names, so that they keep their order.
func (h *hider) nameSweeps(rec arrow.Record) {
	for r := table.NewReader(rec); r.Next(); {
		h.sweeps[r.Str("sweep")] = ""
	}
	h.hidden.Sweeps = slices.Sorted(maps.Keys(h.sweeps))
	for i, name := range h.hidden.Sweeps {
		h.sweeps[name] = numbered("sweep", i+1, len(h.hidden.Sweeps))
		h.hidden.Texts[name] = h.sweeps[name]
	}
}

// numbered gives names that sort as their numbers do.
func numbered(what string, i, of int) string {
	return fmt.Sprintf("%s-%0*d", what, len(fmt.Sprint(of)), i)
}

// Numbered gives the names that stand for input files: input-01, input-02 ...
func Numbered(what string, of int) []string {
	out := make([]string, of)
	for i := range out {
		out[i] = numbered(what, i+1, of)
	}
	return out
}

// open are the text columns that hold nothing private: names that the experiment file declares, and words of fairlobe.
var open = []string{"arm", "band", "direction", "distance_class", "plane", "region"}

// hide gives a table in its private form. A text column that nobody has thought of is an error and not a leak.
func (h *hider) hide(name string, rec arrow.Record) (arrow.Record, error) {
	fields := rec.Schema().Fields()
	private := false
	for _, f := range fields {
		changes := slices.Contains(changed[name], f.Name)
		private = private || changes
		if f.Type.ID() == arrow.STRING && !changes && !slices.Contains(open, f.Name) {
			return nil, fmt.Errorf("it has a text column %q, and nothing says what may leave the house of it", f.Name)
		}
	}
	if !private {
		rec.Retain()
		return rec, nil
	}
	b := table.NewBuilder(rec.Schema())
	values := make([]any, len(fields))
	for r := table.NewReader(rec); r.Next(); {
		for i, f := range fields {
			if slices.Contains(changed[name], f.Name) {
				values[i] = h.value(name, f.Name, r)
			} else {
				values[i] = plain(f, r)
			}
		}
		b.Append(values...)
	}
	return b.Record(), nil
}

// changed are the columns that have a private form, by table.
var changed = map[string][]string{
	"stations": {"call", "place", "locator", "latitude", "longitude", "bearing_deg", "distance_km", "position_radius_km"},
	"sweeps":   {"sweep"},
	"dwells":   {"reason"},
}

func (h *hider) value(name, column string, r *table.Reader) any {
	switch name {
	case "stations":
		return h.ofStation(column, r)
	case "sweeps":
		return h.sweeps[r.Str(column)]
	}
	return h.reason(r.StrOrNil(column))
}

// plain gives a value as it is.
func plain(f arrow.Field, r *table.Reader) any {
	if r.Null(f.Name) {
		return nil
	}
	switch f.Type.ID() {
	case arrow.BOOL:
		return r.Bool(f.Name)
	case arrow.INT32, arrow.INT64:
		return r.Int(f.Name)
	case arrow.FLOAT64:
		return r.Float(f.Name)
	case arrow.STRING:
		return r.Str(f.Name)
	}
	return r.Time(f.Name)
}

// ofStation hides who and where a station is, and keeps what the judge makes of it. Not even a part of its locator is left: the
// square of a station together with bearing and distance, of many stations, would tell the own place to a few km.
func (h *hider) ofStation(column string, r *table.Reader) any {
	call := r.Str("call")
	switch column {
	case "call":
		h.calls[call] = true
		return hashCall(h.key, call)
	case "place":
		if r.Str("place") == "" {
			return ""
		}
		h.places[call]++
		return placeName(h.places[call])
	case "locator":
		if !r.Null("locator") {
			h.at[r.Str("locator")] = true
		}
		return nil
	case "latitude":
		if !r.Null("latitude") && r.Null("locator") {
			h.hidden.Positions++
		}
		return nil
	case "bearing_deg":
		return rounded(r, column, station.RoundDeg)
	case "distance_km":
		return rounded(r, column, station.RoundKm)
	case "position_radius_km":
		return rounded(r, column, station.RoundRadiusKm)
	}
	return nil // longitude
}

// placeName gives "a" to "z", and then "a2" and so on.
func placeName(n int) string {
	letter := string(rune('a' + (n-1)%26))
	if n <= 26 {
		return letter
	}
	return fmt.Sprintf("%s%d", letter, (n-1)/26+1)
}

// RoundPaths gives table paths with whole degrees and hundreds of km. The sun's height at a moment tells a circle on which a
// station lies, and many such circles tell its place whatever their rounding; so the table must have been made from what leaves the house
// already, and then holds nothing more. The rounding keeps it from looking more exact than that.
func RoundPaths(rec arrow.Record) arrow.Record {
	b := table.NewBuilder(rec.Schema())
	fields := rec.Schema().Fields()
	values := make([]any, len(fields))
	for r := table.NewReader(rec); r.Next(); {
		for i, f := range fields {
			switch {
			case f.Name == "long_path_bearing_deg":
				values[i] = rounded(r, f.Name, station.RoundDeg)
			case f.Name == "long_path_km":
				values[i] = rounded(r, f.Name, func(km float64) float64 { return 100 * math.Round(km/100) })
			case strings.HasSuffix(f.Name, "_deg"):
				values[i] = rounded(r, f.Name, math.Round)
			default:
				values[i] = plain(f, r)
			}
		}
		b.Append(values...)
	}
	return b.Record()
}

// rounded gives a rounded value, or nil for null; zero has no sign.
func rounded(r *table.Reader, column string, by func(float64) float64) any {
	if r.Null(column) {
		return nil
	}
	return by(r.Float(column)) + 0
}

// machineReasons are the reasons of table dwells whose words fairlobe wrote; behind the others stands what the operator wrote.
var machineReasons = []string{"late switch: ", "not run: "}

// reason keeps what the judge looks at, and drops the operator's words.
func (h *hider) reason(text *string) any {
	if text == nil {
		return nil
	}
	for _, known := range machineReasons {
		if strings.HasPrefix(*text, known) {
			return *text
		}
	}
	kind, words, found := strings.Cut(*text, ":")
	if found {
		h.hidden.Reasons++
		h.hidden.note(words)
	}
	if strings.HasPrefix(kind, datasets.ReasonDroppedLate) {
		return datasets.ReasonDroppedLate
	}
	return kind
}

func (h *Hidden) note(words string) {
	if words = strings.TrimSpace(words); words != "" && !slices.Contains(h.Notes, words) {
		h.Notes = append(h.Notes, words)
	}
}
