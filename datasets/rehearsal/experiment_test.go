package rehearsal_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/coast"
	"fairlobe/datasets/rehearsal"
	"fairlobe/datasets/world"
	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
	"fairlobe/stages/schedule"
)

// base is a small experiment; the tests replace pieces of it.
const base = `fairlobe = 1
title = "A rehearsed trial"
smallest_difference_db = 1.5
seed = 11
[station]
call = "Q1RDG"
also = ["Q1RDG/P"]
locator = "MN83kp"
[fixed]
mode = "FT8"
sends = "even slots"
power_w = 4
feedline_length_m = 12
feedline_loss_db_per_100m = { db = 4.0, at_mhz = 14 }
[[arm]]
name = "low"
[[arm]]
name = "high"
[schedule]
bands = ["20m"]
blocks = 6
dwell_min = 5
settle_min = 0.5
arm_change_min = 2
spot_interval_min = 5
sessions = [{ start = 2026-09-12T04:00:00Z, blocks = 3 }, { start = 2026-09-13T04:00:00Z, blocks = 3 }]
[[claim]]
name = "lift helps"
kind = "level"
compare = ["high", "low"]
[log]
switches = "log/switches.csv"
`

// aTable is a source of delimited text.
const aTable = `[[spots]]
files = ["spots/*.csv"]
format = "table"
columns = { time = "when", transmitter = "who sent", receiver = "who heard", receiver_locator = "where", band = "band", snr_db = "level" }
`

// rehearsed is an experiment, rehearsed, with its data written where it looks for them.
type rehearsed struct {
	*rehearsal.Rehearsal
	exp     *experiments.Experiment
	planned []schedule.Dwell
	options rehearsal.Options
}

// load writes an experiment file and loads it.
func load(t testing.TB, text string) (*experiments.Experiment, []schedule.Dwell) {
	t.Helper()
	dir := t.TempDir()
	path := filepath.Join(dir, "trial.toml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	exp, list := experiments.Load(path)
	require.NoError(t, list.Err())
	planned, err := stages.Schedule(exp)
	require.NoError(t, err)
	return exp, planned
}

// rehearse rehearses an experiment with statements of the truth.
func rehearse(t testing.TB, text string, mishaps bool, truth ...string) rehearsed {
	t.Helper()
	exp, planned := load(t, text)
	r := rehearsed{exp: exp, planned: planned, options: rehearsal.Options{Seed: 5, Mishaps: mishaps, Adjust: onLand()}}
	var err error
	r.options.Truth, err = rehearsal.ParseTruth(exp, bandsOf(planned), truth)
	require.NoError(t, err)
	r.Rehearsal, err = rehearsal.Invent(exp, planned, r.options)
	require.NoError(t, err)
	for _, f := range r.Files {
		path := filepath.Join(exp.DataDir, filepath.FromSlash(f.Name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, f.Data, 0o644))
	}
	return r
}

// onLand spares a test from loading the coast again and again.
var onLand = sync.OnceValue(func() func(*world.Params) {
	c := coast.Load()
	return func(p *world.Params) { p.Land = c.OnLand }
})

func bandsOf(planned []schedule.Dwell) []string {
	var out []string
	for _, d := range planned {
		if !strings.Contains(strings.Join(out, " ")+" ", d.Band+" ") {
			out = append(out, d.Band)
		}
	}
	return out
}

// row is a row of table spots, with its fate.
type row struct {
	rehearsal.Report
	direction, fate, file    string
	session, block, position int64
}

// read reads the data as a run does. Quarantined rows are counted by their reason.
func (r rehearsed) read(t testing.TB) (rows []row, refused map[string]int, done *pipeline.Outcome) {
	t.Helper()
	data, err := stages.Find(r.exp)
	require.NoError(t, err)
	graph, err := pipeline.NewGraph(data.Reading(r.planned)...)
	require.NoError(t, err)
	done, err = pipeline.Run(context.Background(), graph, pipeline.Options{})
	require.NoError(t, err)
	for _, note := range done.Notes {
		t.Log(note)
	}
	spots, err := done.Table("spots")
	require.NoError(t, err)
	defer spots.Release()
	for s := table.NewReader(spots); s.Next(); {
		one := row{direction: s.Str("direction"), fate: s.Str("fate"), file: s.Str("source")}
		one.Transmitter, one.Receiver, one.Band = s.Str("transmitter"), s.Str("receiver"), s.Str("band")
		if !s.Null("snr_db") {
			one.SNR = int(s.Float("snr_db"))
		}
		if !s.Null("slot") {
			one.Slot = s.Time("slot").UTC()
		}
		if !s.Null("session") {
			one.session, one.block, one.position = s.Int("session"), s.Int("block"), s.Int("position")
		}
		rows = append(rows, one)
	}
	quarantine, err := done.Table("quarantine")
	require.NoError(t, err)
	defer quarantine.Release()
	refused = map[string]int{}
	for q := table.NewReader(quarantine); q.Next(); {
		refused[q.Str("reason")]++
	}
	return rows, refused, done
}

// key tells one report from another.
func key(r rehearsal.Report) string {
	return fmt.Sprintf("%s %s>%s %s", r.Slot.Format(time.RFC3339Nano), r.Transmitter, r.Receiver, r.Band)
}

func replaced(t testing.TB, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		require.Contains(t, text, pairs[i])
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}
