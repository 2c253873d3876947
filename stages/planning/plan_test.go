package planning

import (
	"context"
	"encoding/xml"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments"
	"fairlobe/stages"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/trials"
)

var update = flag.Bool("update", false, "write the golden files")

// loaded reads an experiment of the repository after a change of its text.
func loaded(t *testing.T, name string, change func(string) string) *experiments.Experiment {
	t.Helper()
	text, err := os.ReadFile("../../experiments/" + name)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(change(string(text)), "data = \"../datasets/", "# data = \"", 1)), 0o600))
	exp, list := experiments.Load(path)
	require.NoError(t, list.Err())
	return exp
}

func same(text string) string { return text }

func planOf(t *testing.T, exp *experiments.Experiment, stations int) *Plan {
	t.Helper()
	planned, err := stages.Schedule(exp)
	require.NoError(t, err)
	return New(Input{Experiment: exp, Planned: planned, Stations: stations})
}

// wordsOf gives the text on one line.
func wordsOf(p *Plan) string { return strings.Join(strings.Fields(strings.Join(p.Words(), " ")), " ") }

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

func TestGoldenScreens(t *testing.T) {
	for _, name := range []string{"ridge-wire", "turned-wire", "one-wire"} {
		p := planOf(t, loaded(t, name+".toml", same), 0)
		lines := p.Words()
		golden(t, name+".txt", []byte(strings.Join(lines, "\n")+"\n"))
		pasted := false
		for _, line := range lines {
			pasted = strings.HasPrefix(line, "Changes to") || pasted && line != ""
			require.True(t, pasted || len([]rune(line)) <= width, "%d columns: %s", len([]rune(line)), line)
		}
	}
}

func TestGoldenCurve(t *testing.T) {
	p := planOf(t, loaded(t, "ridge-wire.toml", same), 0)
	golden(t, "ridge-wire.svg", p.Curve())
	require.Equal(t, p.Curve(), p.Curve())
}

// The picture must be sound XML whatever stands in names, tell its curves apart without colour, and name no colour but
// ink and paper.
func TestCurveWithHostileNames(t *testing.T) {
	exp := loaded(t, "ridge-wire.toml", same)
	exp.Title = "</title><script>\x00&\xff"
	exp.Claims[0].Name = `"><script>`
	picture := string(planOf(t, exp, 0).Curve())
	d := xml.NewDecoder(strings.NewReader(picture))
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if start, ok := token.(xml.StartElement); ok {
			require.NotEqual(t, "script", start.Name.Local)
		}
	}
	require.NotContains(t, picture, "NaN")
	require.Contains(t, picture, "prefers-color-scheme:dark")
	require.Len(t, regexp.MustCompile(`#[0-9a-f]{3,6}`).FindAllString(picture, -1), 4)
	for _, mark := range []string{`<circle class="mark"`, `h8v8h-8z`, `l5 9h-10z`} {
		require.Contains(t, picture, mark)
	}
}

// Thirty questions on eight blocks: no p can pass, and the plan says so first.
func TestFamilyOfThirty(t *testing.T) {
	exp := loaded(t, "ridge-wire.toml", same)
	exp.Schedule.Sessions = exp.Schedule.Sessions[:1]
	exp.Schedule.Blocks = 8
	level := exp.Claims[0]
	exp.Claims = nil
	for i := range 15 {
		level.Name = fmt.Sprintf("question %d", i+1)
		exp.Claims = append(exp.Claims, level)
	}
	p := planOf(t, exp, 0)
	require.Equal(t, 30, p.Family)
	text := wordsOf(p)
	// 2/2^8 = 0.0078, 0.05/30 = 0.0017, 1 + log2(600) = 10.2
	require.Contains(t, text, "TOO FEW BLOCKS FOR SO MANY QUESTIONS: the least p that the blocks can give is 0.0078, and each of 30 questions needs 0.0017.")
	require.Contains(t, text, "Plan 11 blocks or more")
	require.Contains(t, text, "8 blocks find nothing")
	require.Contains(t, string(p.Curve()), "and 22 more, not drawn")
}

func TestOneStation(t *testing.T) {
	p := planOf(t, loaded(t, "ridge-wire.toml", same), 1)
	require.NoError(t, p.Simulate(context.Background(), Simulation{Trials: 3, Seed: 5}))
	require.Equal(t, 0, p.Questions[0].Simulated.Found, "a single station is refused")
	require.Contains(t, wordsOf(p), "With 1 station it will be refused")
}

func TestOneArmOnly(t *testing.T) {
	p := planOf(t, loaded(t, "one-wire.toml", same), 0)
	require.NoError(t, p.Simulate(context.Background(), Simulation{Trials: 3, Seed: 5}))
	require.Nil(t, p.Questions[0].Different)
	require.Nil(t, p.Questions[0].Simulated)
	require.Contains(t, wordsOf(p), "will be refused: one arm alone")
}

func TestNoClaimNoPower(t *testing.T) {
	exp := loaded(t, "ridge-wire.toml", func(s string) string { return strings.Replace(s, "power_w = 4", "", 1) })
	exp.Claims = nil
	text := wordsOf(planOf(t, exp, 0))
	require.Contains(t, text, "No claim is declared")
	require.Contains(t, text, "5 W (not declared, assumed)")
}

// Every kind of claim is planned for, or says why blocks are not its measure.
func TestEveryKind(t *testing.T) {
	exp := loaded(t, "ridge-wire.toml", same)
	level := exp.Claims[0]
	step := 3.0
	exp.Claims = nil
	for _, kind := range []string{"level", "heard_by", "null", "known_step", "repeat", "reciprocity", "match"} {
		c := level
		c.Name, c.Kind, c.StepDB, c.SmallestPoints = kind, kind, &step, 10
		exp.Claims = append(exp.Claims, c)
	}
	p := planOf(t, exp, 0)
	require.Len(t, p.Questions, 7)
	for _, q := range p.Questions {
		require.True(t, q.Different != nil || q.Same != nil || q.Note != "", q.Claim.Name)
	}
	require.Equal(t, 6, p.Family) // level, heard_by and reciprocity on two bands
}

// The change that is proposed is one that the experiment file takes.
func TestProposalCanBePasted(t *testing.T) {
	p := planOf(t, loaded(t, "ridge-wire.toml", same), 0)
	one, ok := p.moreBlocks()
	require.True(t, ok)
	exp := loaded(t, "ridge-wire.toml", func(text string) string {
		text = regexp.MustCompile(`(?m)^blocks = .*$`).ReplaceAllString(text, one.Lines[0])
		return regexp.MustCompile(`(?ms)^sessions = \[.*?^\]$`).ReplaceAllString(text, strings.Join(one.Lines[1:], "\n"))
	})
	require.Equal(t, p.Questions[2-1].Different.At80, exp.Schedule.Blocks)
	require.Equal(t, map[string]int{"low": 2, "high": 2}, exp.Schedule.Sessions[1].Erection)
	_, ok = planOf(t, exp, 0).moreBlocks()
	require.False(t, ok, "it is enough")
}

// Without sessions in the file there is one outing, and the number of blocks is all that changes.
func TestProposalWithoutSessions(t *testing.T) {
	p := planOf(t, loaded(t, "ridge-wire.toml", func(text string) string {
		return regexp.MustCompile(`(?ms)^sessions = \[.*?^\]$`).ReplaceAllString(text, "start = 2026-09-12T04:00:00Z")
	}), 0)
	one, ok := p.moreBlocks()
	require.True(t, ok)
	require.Equal(t, []string{"blocks = 27"}, one.Lines)
}

// What no number of blocks does is not proposed.
func TestSearchWithoutEnd(t *testing.T) {
	q := Question{Different: &Need{At80: 20}}
	require.Equal(t, 20, q.wanted())
	q.Recipe = &Recipe{At80: 22}
	require.Equal(t, 22, q.wanted())
	q.Simulated = &Simulated{Searched: true, At80: 30}
	require.Equal(t, 30, q.wanted())
	q.Simulated.At80 = 0
	require.Equal(t, 0, q.wanted())
}

// The azimuths of a file that counts from magnetic north are proposed from there, too.
func TestTurnFromMagneticNorth(t *testing.T) {
	exp := loaded(t, "turned-wire.toml", func(s string) string {
		s = strings.Replace(s, "slope_azimuth_deg = 120", "slope_azimuth_deg = 210", 1)
		return strings.Replace(s, `tuner = "fixed"`, "tuner = \"fixed\"\nazimuth_reference = \"magnetic\"\ndeclination_deg = 10", 1)
	})
	require.Equal(t, []string{"slope_azimuth_deg = 120"}, planOf(t, exp, 0).otherTurns()[0].Lines)
}

func TestDwellProposals(t *testing.T) {
	for _, one := range []struct {
		dwell, interval string
		want            []string
	}{
		{"4", "5", []string{"dwell_min = 5"}},
		{"6", "5", nil},
		{"6", "0", []string{"dwell_min = 2.5"}},
		{"4", "0", nil},
	} {
		exp := loaded(t, "ridge-wire.toml", func(text string) string {
			text = strings.Replace(text, "dwell_min = 6", "dwell_min = "+one.dwell, 1)
			return strings.Replace(text, "spot_interval_min = 5", "spot_interval_min = "+one.interval, 1)
		})
		got, ok := planOf(t, exp, 0).otherDwell()
		require.Equal(t, one.want != nil, ok)
		require.Equal(t, one.want, got.Lines)
	}
}

// A wire turned by 180 degrees hides its second harmonic; 90 degrees from the other one shows it.
func TestTurnThatHides(t *testing.T) {
	exp := loaded(t, "turned-wire.toml", func(s string) string {
		return strings.Replace(s, "slope_azimuth_deg = 120", "slope_azimuth_deg = 210", 1)
	})
	p := planOf(t, exp, 0)
	text := wordsOf(p)
	require.Contains(t, text, `Harmonic 2 of its pattern, which "two-sided" asks for, is hidden (it shows 0.00 times): turn by 90 degrees instead.`)
	require.Equal(t, []string{"slope_azimuth_deg = 120"}, p.otherTurns()[0].Lines)
}

// Crossings of -0.833 degrees by astropy 5.2.1, to the minute (../internal/sun/testdata/events.csv, T01 and T03).
func TestSunriseAndSunset(t *testing.T) {
	rise, set := riseAndSet(geo.Point{}, time.Date(2025, 3, 20, 12, 0, 0, 0, time.UTC))
	require.WithinDuration(t, time.Date(2025, 3, 20, 6, 4, 6, 0, time.UTC), rise, time.Minute)
	require.WithinDuration(t, time.Date(2025, 3, 20, 18, 10, 36, 0, time.UTC), set, time.Minute)
	rise, set = riseAndSet(geo.Point{LatDeg: 47.25, LonDeg: 8.75}, time.Date(2025, 6, 21, 1, 0, 0, 0, time.UTC))
	require.WithinDuration(t, time.Date(2025, 6, 21, 3, 28, 49, 0, time.UTC), rise, time.Minute)
	require.WithinDuration(t, time.Date(2025, 6, 21, 19, 24, 52, 0, time.UTC), set, time.Minute)
	rise, set = riseAndSet(geo.Point{LatDeg: 80, LonDeg: 0}, time.Date(2024, 6, 20, 12, 0, 0, 0, time.UTC))
	require.True(t, rise.IsZero() && set.IsZero(), "the sun does not set there")
}

// A place found by bearing and distance lies at that bearing and distance on the ellipsoid, within half a percent.
func TestToward(t *testing.T) {
	from := geo.Point{LatDeg: 43.6, LonDeg: 76.9}
	for _, deg := range []float64{0, 45, 180, 300} {
		path := geo.Between(from, toward(from, deg, 3000))
		require.InDelta(t, 3000, path.DistanceKm, 15)
		require.InDelta(t, 0, angle(path.BearingDeg-deg), 0.5)
	}
}

func angle(deg float64) float64 {
	for deg > 180 {
		deg -= 360
	}
	for deg < -180 {
		deg += 360
	}
	return deg
}

func TestBadPilots(t *testing.T) {
	exp := loaded(t, "ridge-wire.toml", same)
	for _, one := range []struct {
		folder fstest.MapFS
		want   string
	}{
		{fstest.MapFS{}, "x.out: this is no output folder of a run: there is no such file"},
		{fstest.MapFS{"verdicts.json": {Data: []byte("<html>")}}, "x.out/verdicts.json: the file can't be read"},
		{fstest.MapFS{"verdicts.json": {Data: []byte("{}")}}, "x.out/tables/dwells.parquet: the table can't be read: there is no such file"},
		{fstest.MapFS{"verdicts.json": {Data: []byte("{}")}, "tables/dwells.parquet": {Data: []byte("PAR1....PAR1")}}, "x.out/tables/dwells.parquet: decoding a table"},
	} {
		_, err := ReadPilot(one.folder, "x.out", exp)
		require.ErrorContains(t, err, one.want)
	}
}

// A short former run with little noise: the formula asks for fewer than 12 blocks, and its blocks are drawn again.
func TestRecipe(t *testing.T) {
	d := designs()[4] // quiet
	d.smallestDB = 1
	exp := d.experiment(t)
	tables, err := trials.Tables(context.Background(), d.settings(t, exp, nil, 7, 12), 0)
	require.NoError(t, err)
	planned, err := stages.Schedule(exp)
	require.NoError(t, err)
	in := Input{Experiment: exp, Planned: planned, Pilot: NewPilot("short", tables, exp)}
	q := New(in).Questions[0]
	require.Less(t, q.Different.At80, manyBlocks)
	require.NotNil(t, q.Recipe)
	require.GreaterOrEqual(t, q.Recipe.At80, 7, "two questions at 0.025 need 1 + log2(40) blocks")
	require.LessOrEqual(t, q.Recipe.At80, q.Recipe.At90)
	require.LessOrEqual(t, q.Recipe.At90, 14)
	require.Equal(t, q.Recipe, New(in).Questions[0].Recipe)
}

// Same seed, same numbers.
func TestSimulateIsDeterministic(t *testing.T) {
	var first []Question
	for range 2 {
		p := planOf(t, loaded(t, "ridge-wire.toml", same), 0)
		require.NoError(t, p.Simulate(context.Background(), Simulation{Trials: 4, Seed: 3}))
		require.Nil(t, p.Questions[0].Simulated, "the formula promises a level of 16 blocks and 50 stations")
		require.NotNil(t, p.Questions[1].Simulated)
		if first == nil {
			first = p.Questions
			continue
		}
		require.Equal(t, first[1].Simulated, p.Questions[1].Simulated)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	require.ErrorIs(t, planOf(t, loaded(t, "ridge-wire.toml", same), 0).Simulate(ctx, Simulation{Trials: 4, Seed: 3}), context.Canceled)
}
