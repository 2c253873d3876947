package repeat

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/experiments"
	"fairlobe/experiments/outline"
	"fairlobe/stages/schedule"
)

// Plan is what a repeat's experiment file is made of.
type Plan struct {
	// Name is that of the file, without ".toml", and of the folder of the data.
	Name string
	// Original is the experiment as it was received, in its private form; Dwells are its planned ones.
	Original *experiments.Experiment
	Dwells   []schedule.Dwell
	Identity string
	Seed     uint64
	// Start is the start of the first session; later ones keep their distance from it.
	Start time.Time
	// StationFile is the name of the station's file beside the experiment file, Station its text.
	StationFile string
	Station     []byte
}

// Made is a repeat that was prepared.
type Made struct {
	Text   []byte // of the experiment file
	Origin *Origin
	// Experiment is the file, decoded.
	Experiment *experiments.Experiment
	// Notes are what could not be carried over, or has to be looked at, each a sentence.
	Notes []string
}

// Prepare writes the repeat's experiment file: the same question, claims, smallest difference, arms, fixed variables and form of
// the schedule, another seed and other days. An error means that the original can't be repeated as it stands, or that the
// station's file is at fault (a diag.List).
func (p Plan) Prepare() (*Made, error) {
	content, err := plain(p.Original.Decisive())
	if err != nil {
		return nil, err
	}
	s, notes := p.form()
	w := &writer{plan: p, content: content, schedule: s}
	text, own, err := w.settled()
	if err != nil {
		return nil, err
	}
	now, err := plain(own.Decisive())
	if err != nil {
		return nil, err
	}
	if p.Original.Schedule.File != "" {
		// What was read off the file is what the repeat is held against: nothing else is known of it.
		form := maps.Clone(table(now, "schedule"))
		form["order"] = p.Original.Schedule.Order
		content["schedule"] = form
	}
	content["spots"], content["sweeps"] = []any{}, []any{}
	if c := Compare(content, now); c.Kind() != Direct {
		return nil, fmt.Errorf("the repeat would not be that of the original: %s", strings.Join(c.Lines(), "; "))
	}
	return &Made{Text: text, Experiment: own, Notes: append(notes, w.notes()...),
		Origin: &Origin{Format: Format, Identity: p.Identity, Title: Printable(p.Original.Title), Content: content, Kind: Direct, Differences: []string{}}}, nil
}

// writer puts the experiment file together, line by line.
type writer struct {
	plan     Plan
	content  map[string]any
	schedule experiments.Schedule
	out      strings.Builder
}

// settled writes the file and reads it back. The slot and the level at which all decodes are left to the mode where it gives the
// same.
func (w *writer) settled() ([]byte, *experiments.Experiment, error) {
	fixed := w.plan.Original.Fixed
	for _, byMode := range []bool{true, false} {
		text, err := w.file(byMode)
		if err != nil {
			return nil, nil, err
		}
		e, list := experiments.Parse(w.plan.Name+".toml", text, w.station)
		switch {
		case list.Err() == nil && e.Fixed.Slot == fixed.Slot && e.Fixed.CutDB == fixed.CutDB:
			return text, e, nil
		case list.Err() != nil && !byMode:
			return nil, nil, fmt.Errorf("writing the repeat's experiment file: %w", list.Err())
		}
	}
	return nil, nil, fmt.Errorf("writing the repeat's experiment file: its slots are not those of the original")
}

func (w *writer) station(name string) ([]byte, error) {
	if name != w.plan.StationFile {
		return nil, fmt.Errorf("the repeat has no file %s", name)
	}
	return w.plan.Station, nil
}

func (w *writer) file(byMode bool) ([]byte, error) {
	w.out.Reset()
	w.head()
	w.fixed(byMode)
	w.arms()
	w.scheduled()
	w.claims()
	sources, err := w.sources()
	if err != nil {
		return nil, err
	}
	w.out.Write(sources)
	return []byte(w.out.String()), nil
}

// commentColumn is where comments behind a value begin.
const commentColumn = 36

// widest is the longest line that a comment may make.
const widest = 130

// set writes key = value, and a comment if the line has room for it.
func (w *writer) set(key string, v any, comment string) {
	text := bareKey(key) + " = " + value(v)
	if comment != "" && max(len(text)+1, commentColumn)+len(comment) < widest {
		text += strings.Repeat(" ", max(1, commentColumn-len(text))) + "# " + comment
	}
	w.out.WriteString(text + "\n")
}

func (w *writer) say(format string, args ...any) { fmt.Fprintf(&w.out, format+"\n", args...) }

func (w *writer) head() {
	e := w.plan.Original
	w.say("# %s", Printable(e.Title))
	w.say("# A repeat of an experiment that another operator shared: %s", w.plan.Identity)
	w.say("#")
	w.say("# Question, claims, smallest difference, arms and fixed variables are those of the original; order and days are your own.")
	w.say("# Write down what you really put up: whatever differs makes this a varied repeat, and \"fairlobe check\" lists it. With other")
	w.say("# claims or another smallest difference it is another question, and \"fairlobe pool\" will not add it to the original.")
	w.say("# Look at what is marked with <--. Keys carry their unit; times are UTC. \"fairlobe help experiment\" explains every key.")
	w.say("")
	w.set("fairlobe", 1.0, "")
	w.set("title", e.Title, "")
	if e.Question != "" {
		w.set("question", e.Question, "")
	}
	w.set("smallest_difference_db", e.SmallestDB, "below this it does not matter in practice")
	if e.SmallestPoints != defaultPoints {
		w.set("smallest_difference_points", e.SmallestPoints, "the same for claims of kind heard_by")
	}
	w.say("%-35s # drawn afresh: your order of the arms is not that of the original", fmt.Sprintf("seed = %d", w.plan.Seed))
	w.set("data", w.plan.Name, "folder of spots, sweeps and log")
	w.set("station", w.plan.StationFile, "<-- your call, locator and ground")
	if e.Control != nil {
		w.say("")
		w.say("# The original had a control station, which transmits in the same slots. If you have one too:")
		w.say("# [control]")
		w.say("# call = \"its call\"")
	}
}

// defaultPoints is the smallest difference of a heard_by claim where the file names none, percentage points.
const defaultPoints = 10

func (w *writer) fixed(byMode bool) {
	t := table(w.content, "fixed")
	w.say("\n# What is held the same for all arms.")
	w.say("[fixed]")
	w.variables(t, "fixed", "mode", "slot_s", "cut_at_db", "sends")
	w.set("mode", t["mode"], "gives the length of a slot and the level above which all is decoded")
	if !byMode {
		w.set("slot_s", t["slot_s"], about("fixed.slot_s"))
		w.set("cut_at_db", t["cut_at_db"], about("fixed.cut_at_db"))
	}
	w.set("sends", t["sends"], about("fixed.sends"))
	w.other(t)
}

// variables writes the typed variables of a table, in alphabetical order.
func (w *writer) variables(t map[string]any, where string, but ...string) {
	for _, key := range slices.Sorted(maps.Keys(t)) {
		if key == "name" || key == "other" || slices.Contains(but, key) {
			continue
		}
		comment := about(where + "." + key)
		if key == azimuthKey {
			comment = "<-- from true north: your wire may run another way"
		}
		w.set(key, t[key], comment)
	}
}

func (w *writer) other(t map[string]any) {
	if other := table(t, "other"); len(other) > 0 {
		w.set("other", other, "shown and compared, never calculated with")
	}
}

// about is what a key stands for, without examples and lists.
func about(path string) string {
	doc, _ := experiments.About(path)
	doc, _, _ = strings.Cut(doc, ": ")
	return doc
}

func (w *writer) arms() {
	byName, names := tables(w.content, "arm")
	for _, name := range names {
		w.say("\n[[arm]]")
		w.set("name", name, "")
		w.variables(byName[name], "arm[]")
		w.other(byName[name])
	}
}

func (w *writer) scheduled() {
	s := w.schedule
	w.say("\n# In each block every arm comes equally often, in an order drawn from the seed.")
	w.say("[schedule]")
	w.set("bands", anys(s.Bands), "")
	w.set("blocks", float64(s.Blocks), "per band, over all sessions; \"fairlobe design\" says what so many can find at your place")
	w.set("dwell_min", s.Dwell.Minutes(), about("schedule.dwell_min"))
	w.set("settle_min", s.Settle.Minutes(), "the first part of each dwell, left out")
	w.set("pattern", s.Pattern, "")
	w.set("changeover", s.Changeover, "")
	w.set("arm_change_min", s.ArmChange.Minutes(), "<-- what a change takes you")
	w.set("band_change_min", s.BandChange.Minutes(), "")
	w.set("rotate", s.Rotate, "")
	if len(s.Breaks) > 0 {
		var breaks []any
		for _, b := range s.Breaks {
			breaks = append(breaks, map[string]any{"after_block": float64(b.AfterBlock), "min": b.Length.Minutes()})
		}
		w.set("breaks", breaks, "")
	}
	w.set("spot_interval_min", s.SpotInterval.Minutes(), "how often a receiver's reports are passed on; 0 = every decode")
	w.set("stopping", s.Stopping, "")
	w.say("# <-- The first session is a proposal: the original's hour, on a day to come; the others keep their distance from it. Its hour")
	w.say("# was chosen for another place: the sun stands elsewhere at yours.")
	w.say("sessions = [")
	for _, one := range s.Sessions {
		w.say("  { start = %s, blocks = %d%s },", one.Start.UTC().Format(time.RFC3339Nano), one.Blocks, erections(one.Erection))
	}
	w.say("]")
}

// erections is the end of a session's entry: who put up what anew. Nothing if all stood from the beginning.
func erections(of map[string]int) string {
	all := map[string]any{}
	plain := true
	for arm, n := range of {
		all[arm], plain = float64(n), plain && n == 1
	}
	if plain {
		return ""
	}
	return ", erection = " + value(all)
}

// claimOrder is the order of the keys of a claim; any other key follows.
var claimOrder = []string{"name", "kind", "compare", "arms", "direction", "bands", "within_km", "shape", "frame", "toward_deg"}

func (w *writer) claims() {
	byName, names := tables(w.content, "claim")
	w.say("\n# What the data may bear out or not: as in the original, word for word.")
	for i, name := range names {
		if i > 0 {
			w.say("")
		}
		w.claim(byName[name])
	}
	w.say("")
}

func (w *writer) claim(t map[string]any) {
	w.say("[[claim]]")
	keys := slices.Clone(claimOrder)
	for _, key := range slices.Sorted(maps.Keys(t)) {
		if !slices.Contains(keys, key) {
			keys = append(keys, key)
		}
	}
	for _, key := range keys {
		v, there := t[key]
		if bands, ok := v.([]any); key == "bands" && ok && (len(bands) == 0 || slices.Equal(bands, anys(w.schedule.Bands))) {
			continue
		}
		if there {
			w.set(key, v, w.claimComment(key, t))
		}
	}
}

func (w *writer) claimComment(key string, t map[string]any) string {
	switch key {
	case "compare":
		return "first minus second"
	case "toward_deg":
		if _, number := t[key].(float64); !number {
			return ""
		}
		switch t["frame"] {
		case "wire":
			return "<-- from true north; turn it by the angle by which you turn slope_azimuth_deg"
		case "north":
			return "from true north; it stays, whichever way your wire runs"
		}
		return "<-- from true north; if it means the wire, turn it with slope_azimuth_deg"
	}
	return ""
}

// sources are the places of data that are not there yet, for a person to fill in.
func (w *writer) sources() ([]byte, error) {
	var of outline.Sources
	for _, c := range w.plan.Original.Claims {
		of.PowerTold = of.PowerTold || c.Kind == "reciprocity"
		if c.Kind != "match" {
			continue
		}
		for _, arm := range c.Arms {
			if !slices.Contains(of.Measured, arm) {
				of.Measured = append(of.Measured, arm)
			}
		}
	}
	w.say("# <-- Name your own files and their columns before you seal: the seal holds them too.")
	return of.Text()
}

// notes are what the operator has to think of at another place.
func (w *writer) notes() []string {
	var out []string
	if w.plan.Original.Control != nil {
		out = append(out, "the original had a control station; the file says how to name one of your own")
	}
	runs := false
	for _, a := range w.plan.Original.Arms {
		_, has := w.plan.Original.Number(a.Name, azimuthKey)
		runs = runs || has
	}
	axis := slices.ContainsFunc(w.plan.Original.Claims, func(c experiments.Claim) bool { return c.TowardDeg != nil })
	framed := false
	claims, _ := w.content["claim"].([]any)
	for _, c := range claims {
		t, _ := c.(map[string]any)
		framed = framed || t["frame"] == "wire"
	}
	if runs {
		out = append(out, "your wire may run another way: write its slope_azimuth_deg; turned alike for all arms that is another place, "+
			"not another antenna")
	}
	if framed {
		out = append(out, `claims with frame = "wire" turn with the wire`)
	}
	if axis {
		out = append(out, "toward_deg counts from true north, so turn it by hand where the claim means the wire")
	}
	return out
}

// value is TOML for a value of decisive content. Of the characters that quoting escapes in a way of its own none may stand in an
// experiment file.
func value(v any) string {
	switch v := v.(type) {
	case string:
		return strconv.Quote(v)
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case []any:
		var parts []string
		for _, one := range v {
			parts = append(parts, value(one))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case map[string]any:
		var parts []string
		for _, key := range slices.Sorted(maps.Keys(v)) {
			parts = append(parts, bareKey(key)+" = "+value(v[key]))
		}
		return "{ " + strings.Join(parts, ", ") + " }"
	}
	return fmt.Sprint(v)
}

var bare = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

func bareKey(key string) string {
	if bare.MatchString(key) {
		return key
	}
	return strconv.Quote(key)
}

func anys(list []string) []any {
	out := make([]any, len(list))
	for i, s := range list {
		out[i] = s
	}
	return out
}

// StationTemplate is a station's file to be filled in, with the call sign and the locator that stand for none.
func StationTemplate(call, locator string) []byte {
	return []byte(fmt.Sprintf(`# Your station, for this and other experiments.

%-35s # <-- your call sign
# also = ["Q1RDG/P"]                # other spellings of the same transmitter
%-35s # <-- your locator, six characters
ground = "average"                  # <-- "poor", "average", "good", "sea", or { permittivity = 13, conductivity_s_per_m = 0.005 }
`, fmt.Sprintf("call = %q", call), fmt.Sprintf("locator = %q", locator)))
}
