package judge_test

import (
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/judge"
	"fairlobe/stages/report"
)

var update = flag.Bool("update", false, "write the golden files again")

// small is a fixed trial with a claim of each kind that is judged, on two bands, one of which is lost in part.
func small() *world {
	w := asking(plain().differ(2.5).leans(1.8), level(), lobe("one-sided"), kind("null", 0), kind("known_step", 2.5), matchClaim("low", "high"), heardByClaim(10), reciprocityClaim("high", "low"))
	w.bands, w.sessions, w.blocks = []string{"20m", "10m"}, 2, 6
	for i := range w.claims {
		w.claims[i].Bands = w.bands
	}
	w.silent = func(at place, _ string, slot int) bool { return at.band == "10m" && (at.station%4 != 0 || slot > 2) }
	w.listens = func(at place, arm string) bool { return at.session == 1 && (at.station+at.block)%3 > 0 }
	w.returned = heardBack(steady(3, 1)).returned
	w.params.ArmPowersW = []float64{4, 4}
	w.lost[3] = "dropped: rain"
	w.trial.Losses = []account.Loss{{Band: "20m", Share: 1.0 / 12, P: 1}, {Band: "10m", Share: 1.0 / 12, P: 1}}
	w.trial.Warnings = []account.Warning{{Code: "late_switch", Text: "session 1, 10m, block 2: low was connected 40 s after its dwell began", Band: "10m"}}
	w.trial.Events = []account.LogEvent{
		logged("power", 1, "low", 5, ""), logged("remark", 2, "", 0, "packing up"), logged("power", 4, "high", 4, "battery low"),
		logged("deviation", 3, "high", 0, "guy rope slack"),
	}
	w.params.SharedCoin, w.params.SpotIntervalMs = true, 300_000
	w.sweeps = append(shown("low", "sweeps/low.csv", "radio", 1.62), shown("high", "sweeps/high.csv", "radio", 1.99)...)
	w.intake = account.Intake{Read: 9000, Used: 8000, Merged: 500, OutOfScope: 480, Quarantined: 20, Clashes: 3,
		Reasons: map[string]int{"within the settle time": 400, "outside the schedule": 80}}
	return w
}

// logged is a line of the log, some minutes after the beginning; the value 0 stands for none.
func logged(kind string, minutes int, arm string, value float64, note string) account.LogEvent {
	e := account.LogEvent{Kind: kind, Time: began.Add(time.Duration(minutes) * time.Minute), Session: 1, Arm: arm, Note: note}
	if value != 0 {
		e.Value = &value
	}
	return e
}

// written runs judge and report.
func written(t *testing.T, w *world, p report.Params) map[string]string {
	t.Helper()
	in := w.input()
	defer in.Release()
	res, err := judge.Stage(w.stageParams()).Run(context.Background(), in)
	require.NoError(t, err)
	intake, err := json.Marshal(w.intake)
	require.NoError(t, err)
	tables := res.Tables
	for _, name := range []string{"dwells", "stations", "sweeps"} {
		tables[name] = in.Table(name)
		tables[name].Retain()
	}
	cells := table.NewBuilder(datasets.Cells())
	cells.Append(1, "20m", 1, "high", "sent", 0, 11, 3, -4.0, -2.0, nil)
	quarantine := table.NewBuilder(datasets.Quarantine())
	quarantine.Append("spots/a.csv", 7, nil, "x", "no time: write it as the file's layout says")
	tables["cells"], tables["quarantine"], tables["paths"] = cells.Record(), quarantine.Record(), table.NewBuilder(datasets.Paths()).Record()
	next := pipeline.NewInput(context.Background(), memory.NewGoAllocator(), tables,
		map[string][]byte{"intake.json": intake, "trial.json": in.File("trial.json")})
	defer next.Release()
	done, err := report.Stage(p).Run(context.Background(), next)
	require.NoError(t, err)
	out := map[string]string{}
	for name, data := range done.Files {
		out[name] = string(data)
	}
	return out
}

func params() report.Params {
	return report.Params{Title: "Ridge wire: feedpoint at 4.5 m against 9 m", Question: "Does lifting the feedpoint help towards the slope, and on which bands?",
		Seal: "sha256:" + strings.Repeat("0123456789abcdef", 4), SealFits: true, SealedMs: 1, Looks: 2, Repeat: "fairlobe run ridge-wire.toml"}
}

func TestGolden(t *testing.T) {
	out := written(t, small(), params())
	require.True(t, strings.HasPrefix(out[report.FileText], out[report.FileAnswers]), "the screen shows the beginning of the report")
	for _, name := range []string{report.FileVerdicts, report.FileText} {
		path := filepath.Join("testdata", name)
		if *update {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(path, []byte(out[name]), 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, string(want), out[name], "run the test with -update if the change is meant")
	}
	readable(t, out[report.FileText])
}

// readable: no line is wider than the page, and nothing steers a terminal.
func readable(t *testing.T, text string) {
	t.Helper()
	for i, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, len([]rune(line)), 78, "line %d: %s", i+1, line)
		require.Equal(t, strings.TrimRight(line, " "), line, "line %d", i+1)
	}
	for _, r := range text {
		require.False(t, r != '\n' && (unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)), "%U", r)
	}
}

func TestHostileTextCantSteerTheReport(t *testing.T) {
	const hostile = "\x1b[31mred\x1b[0m\r\n<script>alert(1)</script>\u202e\u2028\u0085%s%d \x00" + "\xff"
	w := small()
	for i := range w.claims {
		w.claims[i].Name = hostile + strings.Repeat("verylongname", 20)
		for j := range w.claims[i].Arms {
			w.claims[i].Arms[j] += hostile
		}
	}
	w.arms = []string{"low" + hostile, "high" + hostile}
	w.params.Arms = w.arms
	w.lost[3] = "dropped: " + hostile
	w.trial.Warnings[0].Text = hostile
	w.intake.Warnings = []account.Warning{{Code: "times_doubtful", Text: hostile}}
	w.trial.Events = nil
	for i := range 43 {
		e := logged("deviation", i, w.arms[0], 0, hostile+strings.Repeat("verylongnote", 100))
		e.Band = hostile
		w.trial.Events = append(w.trial.Events, e)
	}
	w.intake.Reasons = map[string]int{hostile: 1}
	w.sweeps = nil
	p := params()
	p.Title, p.Question, p.Repeat = hostile+strings.Repeat("x", 200), hostile, "fairlobe run \x1b[31m"
	out := written(t, w, p)
	readable(t, out[report.FileText])
	readable(t, out[report.FileAnswers])
	require.Contains(t, out[report.FileText], "\n  and 3 more\n")
	require.Equal(t, 40, strings.Count(out[report.FileText], "  deviation, 2026-"))
	var doc map[string]any
	require.NoError(t, json.Unmarshal([]byte(out[report.FileVerdicts]), &doc))
	require.NotContains(t, out[report.FileVerdicts], "<script>", "verdicts.json may be pasted into a page")
	require.NotContains(t, out[report.FileVerdicts], "\x1b")
}

func TestReportWithoutClaimsOrData(t *testing.T) {
	w := asking(with(plain(), func(w *world) { w.intake.Background = 1 }), level())
	p := params()
	p.Seal = ""
	out := written(t, w, p)
	readable(t, out[report.FileText])
	require.Contains(t, out[report.FileText], "lift helps, 20m: REFUSED\n  no reports yet\n")
	require.NotContains(t, out[report.FileText], "FIRST ARM MINUS SECOND")
	require.Contains(t, out[report.FileVerdicts], `"seal": null,`)
	require.Contains(t, out[report.FileVerdicts], `"sealed_before_data": false,`)

	w = asking(plain())
	out = written(t, w, p)
	require.Contains(t, out[report.FileText], "declares no claim")
	require.Contains(t, out[report.FileVerdicts], `"claims": []`)
}

func TestSameTrialSameBytes(t *testing.T) {
	first := written(t, small(), params())
	local := time.Local
	time.Local = time.FixedZone("far away", 13*3600)
	defer func() { time.Local = local }()
	require.Equal(t, first, written(t, small(), params()))
}
