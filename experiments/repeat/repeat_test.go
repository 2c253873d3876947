package repeat

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/stages/schedule"
)

var update = flag.Bool("update", false, "write the golden files")

const identity = "sha256:0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"

// theStart is a day after the demos'.
func theStart() time.Time { return time.Date(2027, 5, 1, 6, 0, 0, 0, time.UTC) }

// original reads an experiment file as a bundle would bring it, with its planned dwells.
func original(t *testing.T, path string) (*experiments.Experiment, []schedule.Dwell) {
	t.Helper()
	e, list := experiments.Load(path)
	require.NoError(t, list.Err())
	if e.Schedule.File == "" {
		return e, nil
	}
	f, err := os.Open(filepath.Join(filepath.Dir(path), e.Schedule.File))
	require.NoError(t, err)
	defer f.Close()
	dwells, faults := schedule.ReadCSV(f, path, e.Schedule.Settle.Milliseconds())
	require.NoError(t, faults.Err())
	return e, dwells
}

func planOf(t *testing.T, path string) Plan {
	t.Helper()
	e, dwells := original(t, path)
	return Plan{Name: "my-repeat", Original: e, Dwells: dwells, Identity: identity, Seed: 17, Start: theStart(),
		StationFile: "my-station.toml", Station: StationTemplate("Q0CALL", "JJ00aa")}
}

func made(t *testing.T, path string) *Made {
	t.Helper()
	m, err := planOf(t, path).Prepare()
	require.NoError(t, err)
	return m
}

// changed parses the repeat's file after changes: pairs of what stands there and what takes its place.
func changed(t *testing.T, m *Made, pairs ...string) *experiments.Experiment {
	t.Helper()
	text := string(m.Text)
	for i := 0; i < len(pairs); i += 2 {
		require.Contains(t, text, pairs[i])
		text = strings.ReplaceAll(text, pairs[i], pairs[i+1])
	}
	e, list := experiments.Parse("my-repeat.toml", []byte(text), func(string) ([]byte, error) { return StationTemplate("Q0CALL", "JJ00aa"), nil })
	require.NoError(t, list.Err())
	return e
}

func TestFilesAreAsTheyWere(t *testing.T) {
	for _, name := range []string{"ridge", "full", "from-file"} {
		t.Run(name, func(t *testing.T) {
			m := made(t, "testdata/original/"+name+".toml")
			golden := filepath.Join("testdata", name+".toml")
			got := string(m.Text) + "\n# NOTES\n# " + strings.Join(m.Notes, "\n# ") + "\n"
			if *update {
				require.NoError(t, os.WriteFile(golden, []byte(got), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), got)
			c, err := m.Origin.Against(m.Experiment)
			require.NoError(t, err)
			require.Equal(t, Direct, c.Kind())
			require.Empty(t, c.Length)
		})
	}
}

// Each demo can be repeated as it stands.
func TestDemosCanBeRepeated(t *testing.T) {
	demos, err := filepath.Glob("../*.toml")
	require.NoError(t, err)
	require.Greater(t, len(demos), 3)
	for _, path := range demos {
		m := made(t, path)
		c, err := m.Origin.Against(m.Experiment)
		require.NoError(t, err)
		require.Equal(t, Direct, c.Kind(), path)
		require.Empty(t, c.Length, path)
	}
}

// The days move, and nothing else: sessions keep their distance, and the seed is the one that was asked for.
func TestOtherDays(t *testing.T) {
	e, _ := original(t, "testdata/original/ridge.toml")
	m := made(t, "testdata/original/ridge.toml")
	require.Equal(t, uint64(17), m.Experiment.Seed)
	require.Equal(t, theStart(), m.Experiment.Schedule.Sessions[0].Start)
	require.Equal(t, e.Schedule.Sessions[1].Start.Sub(e.Schedule.Sessions[0].Start),
		m.Experiment.Schedule.Sessions[1].Start.Sub(m.Experiment.Schedule.Sessions[0].Start))
	require.Equal(t, e.Schedule.Sessions[1].Erection, m.Experiment.Schedule.Sessions[1].Erection)
	require.Equal(t, e.Claims, m.Experiment.Claims)
	require.Equal(t, e.Arms, m.Experiment.Arms)
	require.Equal(t, e.Fixed, m.Experiment.Fixed)
}

func TestNextDay(t *testing.T) {
	at := func(text string) time.Time {
		out, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return out
	}
	for _, c := range []struct{ rule, first, now, want string }{
		{"later today is still tomorrow", "2026-09-12T04:00:00Z", "2027-03-01T01:00:00Z", "2027-03-02T04:00:00Z"},
		{"over the end of a year", "2026-09-12T04:30:15Z", "2027-12-31T23:59:59Z", "2028-01-01T04:30:15Z"},
		{"days are those of UTC", "2026-09-12T04:00:00Z", "2027-03-01T23:30:00-05:00", "2027-03-03T04:00:00Z"},
	} {
		require.Equal(t, at(c.want), NextDay(at(c.first), at(c.now)), c.rule)
	}
}

// Each change of the repeat's file, and what is told of it.
func TestWhatDiffers(t *testing.T) {
	const ridge = "testdata/original/ridge.toml"
	lines := func(l ...string) []string { return l }
	for _, c := range []struct {
		rule, path string
		edits      []string
		want       Comparison
	}{
		{"nothing", ridge, lines("seed = 17", "seed = 18"), Comparison{}},
		{"a fixed variable", ridge, lines("power_w = 4 ", "power_w = 10 "), Comparison{Differences: lines("power_w: 4 W there, 10 W here")}},
		{"one of an arm", ridge, lines("feedpoint_height_m = 9 ", "feedpoint_height_m = 8.5 "),
			Comparison{Differences: lines("arm high, feedpoint_height_m: 9 m there, 8.5 m here")}},
		{"one that is gone", ridge, lines("\ntransformer_ratio = 49 ", "\n# "), Comparison{Differences: lines("transformer_ratio: 49 there, not given here")}},
		{"one of the free ones", ridge, lines(`"radial count" = 0`, `"radial count" = 4`), Comparison{Differences: lines("radial count: 0 there, 4 here")}},
		{"the line", ridge, lines("at_mhz = 14, db = 4", "at_mhz = 14, db = 5"), Comparison{Differences: lines(
			"feedline_loss_db_per_100m: at_mhz 14, db 4, velocity_factor 0.66, z0_ohm 50 there, at_mhz 14, db 5, velocity_factor 0.66, z0_ohm 50 here")}},
		{"moved from fixed to the arms", ridge, lines("\nmast = \"glass fibre\"", "\n", "[[arm]]", "[[arm]]\nmast = \"glass fibre\""), Comparison{}},
		{"moved, and other in one arm", ridge, lines("\nmast = \"glass fibre\"", "\n", "name = \"low\"\n", "name = \"low\"\nmast = \"steel\"\n",
			"name = \"high\"\n", "name = \"high\"\nmast = \"glass fibre\"\n"), Comparison{Differences: lines("arm low, mast: glass fibre there, steel here")}},
		{"how it is sent", ridge, lines(`sends = "even slots"`, `sends = "odd slots"`), Comparison{Differences: lines("sends: even slots there, odd slots here")}},
		{"the mode", ridge, lines(`mode = "FT8"`, `mode = "FT4"`), Comparison{Differences: lines("cut_at_db: -18 dB there, -14.5 dB here",
			"mode: FT8 there, FT4 here", "slot_s: 15 s there, 7.5 s here")}},
		{"the form of the schedule", ridge, lines("dwell_min = 6", "dwell_min = 8"), Comparison{Differences: lines("dwell_min: 6 min there, 8 min here")}},
		{"the pattern", ridge, lines(`pattern = "pairs"`, `pattern = "mirrored"`), Comparison{Differences: lines("pattern: pairs there, mirrored here")}},
		{"fewer bands", ridge, lines(`bands = ["20m", "10m"]`, `bands = ["20m"]`), Comparison{Differences: lines("bands: 20m 10m there, 20m here")}},
		{"longer", ridge, lines("blocks = 8, erection = {", "blocks = 12, erection = {", "blocks = 16", "blocks = 20"),
			Comparison{Length: lines("longer: 16 blocks a band there, 20 here")}},
		{"shorter by a session", ridge, lines("  { start = 2027-05-02T06:00:00Z, blocks = 8, erection = { high = 2, low = 2 } },\n", "", "blocks = 16", "blocks = 8"),
			Comparison{Length: lines("shorter: 16 blocks a band there, 8 here", "shorter: 2 sessions there, 1 here")}},
		{"time between dwells", ridge, lines("breaks = ", "# ", "arm_change_min = 3", "arm_change_min = 5"), Comparison{
			Length: lines("arm_change_min: 3 min there, 5 min here", "breaks: after_block 4, min 20 there, none here")}},
		{"the smallest difference", ridge, lines("smallest_difference_db = 1.5", "smallest_difference_db = 1"),
			Comparison{Question: lines("smallest_difference_db: 1.5 dB there, 1 dB here")}},
		{"a claim's shape", ridge, lines(`shape = "one-sided"`, `shape = "two-sided"`),
			Comparison{Question: lines(`claim "lift favours the slope", shape: one-sided there, two-sided here`)}},
		{"a claim's arms, exchanged", ridge, lines(`compare = ["high", "low"]`, `compare = ["low", "high"]`), Comparison{Question: lines(
			`claim "lift helps", compare: high low there, low high here`, `claim "lift favours the slope", compare: high low there, low high here`)}},
		{"a claim's axis", ridge, lines("toward_deg = 300", "toward_deg = 310"),
			Comparison{Question: lines(`claim "lift favours the slope", toward_deg: 300 deg there, 310 deg here`)}},
		{"a claim's bands", ridge, lines("swr_at_most = 2", "swr_at_most = 2\nbands = [\"10m\"]"),
			Comparison{Question: lines(`claim "match holds", bands: 20m 10m there, 10m here`)}},
		{"a claim of another name", ridge, lines(`name = "match holds"`, `name = "it is matched"`), Comparison{
			Question: lines(`claim "match holds": asked there, not here`), Differences: lines(`claim "it is matched": not asked there, asked here`)}},
		{"a claim's distance", "testdata/original/full.toml", lines("within_km = [0, 500]", "within_km = [0, 600]"),
			Comparison{Question: lines(`claim "lift helps", within_km: 0 500 km there, 0 600 km here`)}},
		{"points", "testdata/original/full.toml", lines("smallest_difference_points = 8", "smallest_difference_points = 9"), Comparison{
			Question: lines(`claim "more hear it", smallest_difference_points: 8 percentage points there, 9 percentage points here`)}},
		{"the words of the question", ridge, lines("question = \"Does", "question = \"Ever, does"),
			Comparison{Words: lines("the question is put in other words; what counts are the claims")}},
		{"an arm", ridge, lines(`"low"`, `"deep"`, "{ high = 2, low = 2 }", "{ high = 2, deep = 2 }"), Comparison{
			Question: lines(`claim "lift helps", compare: high low there, high deep here`, `claim "lift favours the slope", compare: high low there, high deep here`,
				`claim "match holds", arms: high low there, high deep here`),
			Differences: lines(`arm "low": there, not here`, `arm "deep": not there, here`)}},
		{"all wires turned", ridge, lines("slope_azimuth_deg = 300", "slope_azimuth_deg = 20"), Comparison{Place: lines(
			"all wires run 80 deg further clockwise here", `claim "lift favours the slope": toward_deg is 300 deg as there; if it means the wire, turn it by hand to 20`)}},
		{"the axis turned with them", ridge, lines("slope_azimuth_deg = 300", "slope_azimuth_deg = 20", "toward_deg = 300", "toward_deg = 20"), Comparison{Place: lines(
			"all wires run 80 deg further clockwise here")}},
		{"the axis turned elsewhere", ridge, lines("slope_azimuth_deg = 300", "slope_azimuth_deg = 20", "toward_deg = 300", "toward_deg = 30"), Comparison{
			Place: lines("all wires run 80 deg further clockwise here"), Question: lines(`claim "lift favours the slope", toward_deg: 300 deg there, 30 deg here`)}},
		{"turned the other way", ridge, lines("slope_azimuth_deg = 300", "slope_azimuth_deg = 250", "toward_deg = 300", "toward_deg = 250"), Comparison{
			Place: lines("all wires run 50 deg further counter-clockwise here")}},
		{"one wire turned", ridge, lines("feedpoint_height_m = 9              # height of the wire's near end over ground\nslope_azimuth_deg = 300",
			"feedpoint_height_m = 9\nslope_azimuth_deg = 310"), Comparison{Differences: lines("arm high, slope_azimuth_deg: 300 deg there, 310 deg here")}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			m := made(t, c.path)
			got, err := m.Origin.Against(changed(t, m, c.edits...))
			require.NoError(t, err)
			got.Place = slices.DeleteFunc(got.Place, func(line string) bool {
				return strings.HasPrefix(line, "locator: ") || strings.HasPrefix(line, "ground: ") || strings.HasPrefix(line, "control station: ")
			})
			if len(got.Place) == 0 {
				got.Place = nil
			}
			assert.Equal(t, c.want, got)
			assert.Equal(t, len(c.want.Differences)+len(c.want.Question) > 0, got.Kind() == Varied)
		})
	}
}

// Where a claim names the frame, its axis turns with the wire, or does not.
func TestFrames(t *testing.T) {
	m := made(t, "testdata/original/ridge.toml")
	turned, err := plain(changed(t, m, "slope_azimuth_deg = 300", "slope_azimuth_deg = 345").Decisive())
	require.NoError(t, err)
	framed := func(content map[string]any, frame string, toward float64) map[string]any {
		content, err := plain(content)
		require.NoError(t, err)
		claims, _ := tables(content, "claim")
		claims["lift favours the slope"]["frame"], claims["lift favours the slope"]["toward_deg"] = frame, toward
		return content
	}
	for _, c := range []struct {
		frame  string
		toward float64
		same   bool
	}{{"wire", 345, true}, {"wire", 300, false}, {"north", 300, true}, {"north", 345, false}} {
		got := Compare(framed(m.Origin.Content, c.frame, 300), framed(turned, c.frame, c.toward))
		require.Equal(t, c.same, got.Kind() == Direct, "%v: %v", c, got.Lines())
	}
	require.Equal(t, []string{`claim "lift favours the slope", toward_deg: 300 deg there and here, and the wire was turned: turn it by hand to 345`},
		Compare(framed(m.Origin.Content, "wire", 300), framed(turned, "wire", 300)).Question)
	require.Equal(t, []string{`claim "lift favours the slope", frame: wire there, north here`},
		Compare(framed(m.Origin.Content, "wire", 300), framed(m.Origin.Content, "north", 300)).Question)
	open := Compare(m.Origin.Content, framed(m.Origin.Content, "north", 300))
	require.Empty(t, open.Question)
	require.Equal(t, []string{`claim "lift favours the slope": frame = "north" is said here, and was left open there`}, open.Place)
}

// The place is told by its square and the ground, and never finer.
func TestPlace(t *testing.T) {
	m := made(t, "testdata/original/full.toml")
	c, err := m.Origin.Against(changed(t, m))
	require.NoError(t, err)
	require.Equal(t, []string{"locator: MN83 there, JJ00 here", "ground: conductivity_s_per_m 0.005, permittivity 13 there, average here",
		"control station: one there, none here"}, c.Place)
}

// What a bundle tells of a repeat is made from the form that leaves the house.
func TestRenewed(t *testing.T) {
	m := made(t, "testdata/original/ridge.toml")
	again, err := m.Origin.Renewed(changed(t, m, "power_w = 4 ", "power_w = 5 ").Decisive())
	require.NoError(t, err)
	require.Equal(t, Varied, again.Kind)
	require.Equal(t, []string{"power_w: 4 W there, 5 W here"}, again.Differences)
	require.Equal(t, Direct, m.Origin.Kind, "the one on the disk stays")
}

func TestOriginThereAndBack(t *testing.T) {
	for _, path := range []string{"testdata/original/ridge.toml", "testdata/original/full.toml"} {
		m := made(t, path)
		text, err := m.Origin.Encode()
		require.NoError(t, err)
		back, err := Parse("x.origin.json", text)
		require.NoError(t, err)
		require.Equal(t, m.Origin, back)
		again, err := back.Encode()
		require.NoError(t, err)
		require.Equal(t, string(text), string(again))
	}
}

func TestBrokenOrigins(t *testing.T) {
	for name, c := range map[string]struct {
		text   string
		change func(Origin) Origin
		want   string
	}{
		"no JSON":           {text: "origin", want: "no whole origin of a repeat: invalid character"},
		"cut":               {text: `{"format": 1, "identity": "`, want: "unexpected EOF"},
		"a list":            {text: `[1]`, want: "cannot unmarshal array"},
		"something behind":  {text: `{"format":1,"identity":"` + identity + `","title":"","content":{},"kind":"direct","differences":[]} {}`, want: "something follows"},
		"an unknown key":    {text: `{"format": 1, "more": 2}`, want: "unknown field"},
		"a later format":    {text: `{"format": 2, "more": 2}`, want: "its format is 2, and this version of fairlobe reads 1"},
		"no format":         {text: `{}`, want: "its format is 0"},
		"no content":        {text: `{"format":1,"identity":"` + identity + `","title":"","kind":"direct","differences":[]}`, want: "it has no content"},
		"too large":         {text: strings.Repeat(" ", MaxBytes+1), want: "more than 4 MiB"},
		"identity":          {change: func(o Origin) Origin { o.Identity = "sha256:../x"; return o }, want: "identity"},
		"kind":              {change: func(o Origin) Origin { o.Kind = "near"; return o }, want: `its kind is "near"`},
		"title":             {change: func(o Origin) Origin { o.Title = "a\u001b[2J"; return o }, want: "its title"},
		"differences":       {change: func(o Origin) Origin { o.Differences = []string{"a\u202eb"}; return o }, want: "one of its differences"},
		"many differences":  {change: func(o Origin) Origin { o.Differences = make([]string, maxLines+1); return o }, want: "more than 2000 differences"},
		"nested as it goes": {text: strings.Repeat("[", 20000), want: "exceeded max depth"},
	} {
		t.Run(name, func(t *testing.T) {
			text := []byte(c.text)
			if c.change != nil {
				o := c.change(Origin{Format: 1, Identity: identity, Content: map[string]any{}, Kind: Direct})
				var err error
				text, err = o.Encode()
				require.NoError(t, err)
			}
			_, err := Parse("x.origin.json", text)
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "x.origin.json: ")
			require.ErrorContains(t, err, "mend: ")
		})
	}
}

// Content that is no experiment compares without a crash, and steers no terminal.
func TestForeignContent(t *testing.T) {
	m := made(t, "testdata/original/ridge.toml")
	for _, text := range []string{
		`{}`, `{"arm": 3, "claim": [1, {"name": 2}, {"name": "x"}], "fixed": [], "schedule": "no", "station": null}`,
		`{"arm": [{"name": "low", "slope_azimuth_deg": "x", "mast": "\u001b[31m\n"}], "smallest_difference_db": {"a": [[]]}}`,
	} {
		o, err := Parse("o", []byte(`{"format":1,"identity":"`+identity+`","title":"","content":`+text+`,"kind":"direct","differences":[]}`))
		require.NoError(t, err)
		c, err := o.Against(m.Experiment)
		require.NoError(t, err)
		require.Equal(t, Varied, c.Kind())
		for _, line := range slices.Concat(c.Lines(), c.Place, c.Length, c.Words) {
			require.Equal(t, Printable(line), line)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"format":1,"identity":"` + identity + `","title":"a","content":{"arm":[{"name":"low","slope_azimuth_deg":3}],"claim":[{"name":"x","toward_deg":1e300}]},"kind":"direct","differences":[]}`))
	f.Add([]byte(`{"format":2}`))
	e, list := experiments.Load("testdata/original/ridge.toml")
	require.NoError(f, list.Err())
	f.Fuzz(func(t *testing.T, text []byte) {
		o, err := Parse("o", text)
		if err != nil {
			require.Nil(t, o)
			return
		}
		c, err := o.Against(e)
		require.NoError(t, err)
		for _, line := range c.Lines() {
			require.Equal(t, Printable(line), line)
		}
		again, err := o.Encode()
		require.NoError(t, err)
		_, err = Parse("o", again)
		require.NoError(t, err)
	})
}

// Any text that an experiment file takes comes out of the repeat's file as it was.
func TestTextsSurvive(t *testing.T) {
	e, list := experiments.Load("testdata/original/ridge.toml")
	require.NoError(t, list.Err())
	for _, text := range []string{`"`, `\`, `\"`, `a" # b`, `a  # b`, "'", `"""`, "= [x] {y}", "$", "a\u00a0b", "a\u200bb", "\U0001F4E1", "\U0001F1E6\U0001F1E8", "é", "Ω m", "\ufeffx",
		`\u0041`, "a]", "<--", "%s%d", strings.Repeat("long ", 700)} {
		e.Title, e.Question = text, "x\n\t"+text
		e.Fixed.Other = []experiments.Variable{{Name: "k" + text, Value: text}}
		m, err := Plan{Name: "r", Original: e, Identity: identity, Seed: 1, Start: theStart(), StationFile: "s.toml", Station: StationTemplate("Q0CALL", "JJ00aa")}.Prepare()
		require.NoError(t, err, "%q", text)
		require.Equal(t, e.Title, m.Experiment.Title)
		require.Equal(t, e.Question, m.Experiment.Question)
		require.Equal(t, e.Fixed.Other, m.Experiment.Fixed.Other)
		origin, err := m.Origin.Encode()
		require.NoError(t, err)
		_, err = Parse("r.origin.json", origin)
		require.NoError(t, err, "%q", text)
	}
}

// A station's file that is at fault is told with its place.
func TestStationAtFault(t *testing.T) {
	p := planOf(t, "testdata/original/ridge.toml")
	p.Station = []byte("call = \"Q1RDG\"\nlocator = \"nowhere\"\n")
	_, err := p.Prepare()
	require.ErrorContains(t, err, "my-station.toml:2:11: locator = \"nowhere\" is no locator")
}
