package experiments

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline/diag"
)

// load reads a good file of testdata, from its own folder.
func load(t *testing.T, name string) (*Experiment, diag.List) {
	t.Helper()
	t.Chdir("testdata/good")
	e, list := Load(name)
	require.NotNil(t, e, list.Error())
	return e, list
}

func TestFullFile(t *testing.T) {
	e, list := load(t, "full.toml")
	assert.Empty(t, list.Error())

	assert.Equal(t, Station{Call: "Q1RDG", Also: []string{"Q1RDG/P"}, Locator: "MN83kp",
		Ground: Ground{Permittivity: 13, ConductivitySPM: 0.005}}, e.Station)
	assert.Equal(t, &Control{"Q2CTL", "MN83lq"}, e.Control)
	assert.Equal(t, uint64(4012558071), e.Seed)
	assert.Equal(t, 15*time.Second, e.Fixed.Slot)
	assert.Equal(t, -17.5, e.Fixed.CutDB)
	assert.Equal(t, []Variable{{"radial count", 0.0}, {"sheltered", true}, {"soil", "dry"}}, e.Fixed.Other)

	azimuth, ok := e.Number("low", "slope_azimuth_deg")
	assert.True(t, ok)
	assert.Equal(t, 306.5, azimuth, "300 magnetic, declination 6.5 east")
	assert.Equal(t, 3.5, *e.Claims[1].TowardDeg, "357 + 6.5 - 360")
	assert.Equal(t, "wire", e.Claims[1].Frame)
	assert.Equal(t, "", e.Claims[2].Frame, "no frame is not one by default")
	line, _ := e.Number("low", "feedline_length_m")
	assert.Equal(t, 12.0, line, "from [fixed]")

	assert.Equal(t, []string{"20m", "10m"}, e.Claims[0].Bands, "in the order of the schedule")
	assert.Equal(t, &[2]float64{0, 500}, e.Claims[0].WithinKm)
	assert.Equal(t, []float64{12, 8}, []float64{e.Claims[0].SmallestPoints, e.Claims[3].SmallestPoints})
	assert.Equal(t, map[string]int{"low": 2, "high": 2}, e.Schedule.Sessions[1].Erection)
	assert.Equal(t, byte('\t'), e.Spots[1].Table.Delimiter)
	assert.Equal(t, Column{Columns: []string{"day", "clock"}}, e.Spots[1].Table.Columns["time"])
	assert.Equal(t, Column{Columns: []string{"6", "7"}}, e.Spots[2].Table.Columns["receiver_position"])
	assert.Equal(t, "15", *e.Spots[1].Table.Columns["slot_s"].Value)
	assert.Equal(t, "switches.csv", e.Switches)

	assert.Equal(t, diag.Pos{File: "full.toml", Line: 63, Column: 1}, e.Pos("schedule.blocks"))
	assert.Equal(t, "full.toml:55:1", e.Pos("arm[1].name").String())
	assert.Equal(t, "full.toml:54:3", e.Pos("arm[1].power_w").String(), "not written: its table")
	assert.Equal(t, "full.toml:74:15", e.Pos("schedule.sessions[0].start").String())
}

func TestFilesBeside(t *testing.T) {
	e, list := load(t, "from-files.toml")
	assert.Empty(t, list.Faults())
	assert.Equal(t, "from-files", e.Title, "the name of the file")
	assert.Equal(t, "good", e.Station.Ground.Name)
	assert.Equal(t, "station.toml:2:1", e.Pos("station.locator").String())
	assert.Equal(t, Schedule{Settle: 2 * time.Minute, Changeover: "by hand", Stopping: "fixed", File: "schedule.csv", Order: "random"}, e.Schedule)
	assert.Equal(t, -25.0, e.Fixed.CutDB)
	wires := e.Arms[1].Variables[0].Value.([]Wire)
	assert.Equal(t, Wire{FromM: [3]float64{0, 0, 6}, ToM: [3]float64{4, 0, 3}, DiameterMM: 2}, wires[1])
}

// TestEveryKeyIsRead finds keys of the table that no good file sets, so that a new key comes with its test.
func TestEveryKeyIsRead(t *testing.T) {
	set := map[string]bool{}
	files, err := filepath.Glob("testdata/good/*.toml")
	require.NoError(t, err)
	index := regexp.MustCompile(`\[\d+\]`)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		root, list := parseSyntax(file, map[bool]string{true: "station"}[strings.HasSuffix(file, "station.toml")], text)
		require.Empty(t, list)
		places := map[string]diag.Pos{}
		gatherPlaces(root, places)
		for path := range places {
			path = index.ReplaceAllString(path, "[]")
			for _, k := range variableKeys() { // a variable is the same key in [fixed] and in an arm
				path = strings.Replace(path, "arm[]."+k.path, "fixed."+k.path, 1)
			}
			set[path] = true
		}
	}
	for _, k := range knownKeys() {
		path := k.path
		if name, ok := strings.CutPrefix(path, "arm[]."); ok && isVariable(strings.SplitN(strings.ReplaceAll(name, "[]", ""), ".", 2)[0]) {
			path = "fixed." + name
		}
		assert.True(t, set[path], path)
	}
}

// TestExamplesAreGood reads the example of every key as it stands in the reference.
func TestExamplesAreGood(t *testing.T) {
	c := newChecker()
	for _, k := range c.inOrder {
		if k.example == inTables {
			continue
		}
		root, list := parseSyntax("example", "", []byte(k.name()+" = "+k.example+"\n"))
		require.Empty(t, list, k.path)
		c.value(root.named[k.name()], k)
		assert.Empty(t, c.list, k.path)
		assert.NotEmpty(t, k.doc, k.path)
		assert.False(t, strings.HasSuffix(k.doc, "."), k.path)
	}
}

func TestReference(t *testing.T) {
	got := Reference()
	golden(t, "testdata/reference.txt", got)
	for line := range strings.Lines(got) {
		if len(line) > 101 && !strings.Contains(line, " = ") && !strings.HasPrefix(line, "columns of") {
			t.Errorf("%d characters: %s", len(line)-1, line)
		}
	}
	for _, k := range knownKeys() {
		assert.Contains(t, got, k.name(), k.path)
	}
}

func TestDecisive(t *testing.T) {
	e, _ := load(t, "full.toml")
	canonical, err := e.Canonical()
	require.NoError(t, err)
	var back any
	require.NoError(t, json.Unmarshal(canonical, &back))
	indented, err := json.MarshalIndent(back, "", "  ")
	require.NoError(t, err)
	golden(t, "full.decisive.json", string(indented)+"\n")
	for _, hidden := range []string{"Ridge wire", "spots/", "sweeps/", "switches.csv", `\t`} {
		assert.NotContains(t, string(canonical), hidden)
	}
}

func small(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile("testdata/good/small.toml")
	require.NoError(t, err)
	return string(text)
}

func canonicalOf(t require.TestingT, text string) string {
	e, list := Parse("x.toml", []byte(text), nil)
	require.NotNil(t, e, list.Error())
	canonical, err := e.Canonical()
	require.NoError(t, err)
	return string(canonical)
}

// TestCanonicalSeesWhatDecides: a change that can move a verdict moves the bytes, one that can't does not.
func TestCanonicalSeesWhatDecides(t *testing.T) {
	base := small(t)
	want := canonicalOf(t, base)
	for _, tt := range []struct {
		old, new string
		same     bool
	}{
		{`title = "Ridge wire"`, `title = "Another"`, true},
		{`files = ["spots/*.adi"]`, `files = ["other.adi"]`, true},
		{`fairlobe = 1`, "fairlobe = 1\ndata = \"elsewhere\"", true},
		{`settle_min = 0.5`, "settle_min = 0.5\npattern = \"pairs\"", true},
		{`dwell_min = 6`, `dwell_min = 6.0`, true},
		{`mode = "FT8"`, "mode = \"ft8\"\ncut_at_db = -18", true},
		{`start = 2026-09-12T04:00:00Z`, `sessions = [{ start = 2026-09-12 04:00:00+00:00, blocks = 16 }]`, true},
		{`dwell_min = 6`, `dwell_min = 6.5`, false},
		{`mode = "FT8"`, "mode = \"FT8\"\ncut_at_db = -17", false},
		{`smallest_difference_db = 1.5`, `smallest_difference_db = 1`, false},
		{`fairlobe = 1`, "fairlobe = 1\nseed = 9007199254740993", false},
		{`["high", "low"]`, `["low", "high"]`, false},
		{`power_w = 4`, `power_w = 5`, false},
		{`start = 2026-09-12T04:00:00Z`, `start = 2026-09-12T04:00:15Z`, false},
	} {
		require.Contains(t, base, tt.old)
		got := canonicalOf(t, strings.Replace(base, tt.old, tt.new, 1))
		assert.Equal(t, tt.same, got == want, "%s -> %s", tt.old, tt.new)
	}
	assert.Contains(t, canonicalOf(t, strings.Replace(base, "fairlobe = 1", "fairlobe = 1\nseed = 9007199254740993", 1)),
		`"seed":"9007199254740993"`, "2^53 + 1 is no float64")
}

// TestCanonicalIgnoresOrderAndSpacing shuffles the keys within each table and the tables of different names, and strews blanks
// and comments.
func TestCanonicalIgnoresOrderAndSpacing(t *testing.T) {
	base := small(t)
	want := canonicalOf(t, base)
	tables := strings.Split(base, "\n\n")
	rapid.Check(t, func(rt *rapid.T) {
		var out strings.Builder
		order := rapid.Permutation([]int{1, 2, 3, 5, 6, 7}).Draw(rt, "tables")
		for _, i := range append([]int{0}, order...) {
			lines := strings.Split(strings.TrimSpace(tables[i]), "\n")
			if i == 3 { // the arms keep their order
				lines = append(append(lines, ""), strings.Split(strings.TrimSpace(tables[4]), "\n")...)
			}
			writeShuffled(rt, &out, lines)
		}
		require.Equal(rt, want, canonicalOf(rt, out.String()))
	})
}

func writeShuffled(rt *rapid.T, out *strings.Builder, lines []string) {
	blanks := rapid.SampledFrom([]string{"", " ", "\t", "   "})
	var keys []string
	flush := func() {
		if len(keys) > 0 {
			for _, k := range rapid.Permutation(keys).Draw(rt, "keys") {
				name, value, _ := strings.Cut(k, " = ")
				fmt.Fprintf(out, "%s%s%s=%s%s # %s\r\n", blanks.Draw(rt, "b"), name, blanks.Draw(rt, "b"), blanks.Draw(rt, "b"), value, k)
			}
		}
		keys = nil
	}
	for _, line := range lines {
		if line == "" || strings.HasPrefix(line, "[") {
			flush()
			out.WriteString(line + "\n")
			continue
		}
		keys = append(keys, line)
	}
	flush()
}

func TestLoadWithoutFile(t *testing.T) {
	e, list := Load("testdata/no-such.toml")
	assert.Nil(t, e)
	assert.Equal(t, "testdata/no-such.toml: the experiment file can't be read: there is no such file\n"+
		"    mend: name an experiment file, such as experiments/ridge-wire.toml; fairlobe new NAME writes one", list.Error())
	_, list = Load("testdata")
	assert.Contains(t, list.Error(), "it is no file, or the disk is at fault")
}

func TestTooLarge(t *testing.T) {
	_, list := Parse("x.toml", make([]byte, maxBytes+1), nil)
	assert.Contains(t, list.Error(), "more than the 1048576 that an experiment file may have")
}

// FuzzParse: no panic, and every fault is placed inside the file.
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/bad/*.toml", "testdata/good/*.toml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			f.Fatal(pattern, err)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		e, list := Parse("x.toml", text, func(string) ([]byte, error) { return []byte(`call = "Q1RDG"`), nil })
		if (e == nil) != (len(list.Faults()) > 0) {
			t.Fatalf("experiment %v, faults %v", e, list)
		}
		lines := strings.Split(strings.TrimPrefix(string(text), "\ufeff"), "\n")
		for _, d := range list {
			if d.Pos.File == "x.toml" && (d.Pos.Line < 1 || d.Pos.Line > len(lines) || d.Pos.Column < 1 || d.Pos.Column > len(lines[d.Pos.Line-1])+1) {
				t.Fatalf("outside the file: %s", d)
			}
		}
		if e != nil {
			if _, err := e.Canonical(); err != nil {
				t.Fatal(err)
			}
			e.Unnamed()
		}
	})
}
