package report

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// world is a made-up trial as the report sees it: tables whose numbers are invented, not judged.
type world struct {
	params      Params
	entries     []map[string]any // as in verdicts.json, in the order of the keys
	keys        []claimBand
	stations    []place
	differences map[claimBand][]stationDiff
	blocks      map[claimBand][]blockDiff
	lobes       map[claimBand][]lobePoint
	blocksOf    int // blocks per session and band, two sessions
	bands       []string
	lost        string // reason of the lost block, which is the third
	sweeps      bool
	longPath    bool
	trial       account.Trial
	intake      account.Intake
}

// newWorld makes a world with stations in clusters, two arms, bands 20m and 10m, three claims.
func newWorld(stations int) *world {
	w := &world{blocksOf: 8, bands: []string{"20m", "10m"}, lost: "dropped: supply plug came loose", sweeps: true, longPath: true,
		differences: map[claimBand][]stationDiff{}, blocks: map[claimBand][]blockDiff{}, lobes: map[claimBand][]lobePoint{}}
	w.params = Params{Title: "Ridge wire: feedpoint at 4.5 m against 9 m", Question: "Does lifting the feedpoint help towards the slope, and on which bands?",
		Seal: "sha256:00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff", SealFits: true, Looks: 1, Repeat: "fairlobe run ridge-wire.toml",
		Locator: "MN83kp", Arms: []Arm{{"low", []string{"feedpoint height: 4.5 m", "slope: 14 degrees"}}, {"high", []string{"feedpoint height: 9 m", "slope: 43 degrees"}}},
		Fixed: []string{"power: 4 W", "mode: FT8", "wire length: 10.2 m"}, Bands: []Band{{"20m", 14, 14.35}, {"10m", 28, 29.7}}, EndFed: true, Seed: 4012558071, Tool: "fairlobe 0.2.0"}
	w.intake = account.Intake{Read: 10971, Used: 4316, Merged: 1532, OutOfScope: 5091, Quarantined: 32, Clashes: 16,
		Reasons: map[string]int{"between other stations": 202, "within the settle time": 4690, "outside the schedule": 33}}
	watts := 4.0
	w.trial.Events = []account.LogEvent{{Kind: account.Power, Time: began, Session: 1, Arm: "low", Value: &watts}, {Kind: account.Deviation, Time: began, Session: 1, Note: "guy rope slack"}}
	w.scatter(stations)
	for c, claim := range []string{"lift helps", "lift favours the slope"} {
		for b, band := range w.bands {
			w.compare(claim, band, claimBand{int64(c), int64(b)})
		}
	}
	for b, band := range w.bands {
		w.match(band, claimBand{2, int64(b)})
	}
	return w
}

var began = time.Date(2026, 9, 12, 4, 4, 0, 0, time.UTC)

func (w *world) scatter(n int) {
	r := rand.New(rand.NewPCG(7, uint64(n)))
	for i := range n {
		centre := []float64{290, 300, 310, 70, 20, 250}[r.IntN(6)]
		bearing := math.Mod(centre+r.NormFloat64()*12+360, 360)
		distance := 300 + 5200*r.Float64()
		if i%5 == 0 {
			distance = 2500 + 200*r.Float64()
		}
		w.stations = append(w.stations, place{int64(i), fmt.Sprintf("Q%dA%c%c", i%10, 'A'+i/26%26, 'A'+i%26), "LO04hx", &bearing, &distance})
	}
}

func (w *world) compare(claim, band string, key claimBand) {
	r := rand.New(rand.NewPCG(11, uint64(len(band)+int(key.band)*100)))
	level := []float64{2.8, 0.4}[key.band%2]
	for _, s := range w.stations {
		d := stationDiff{station: s.number, db: math.Round((level+0.001*float64(key.claim/2)+1.2*math.Cos((*s.bearing-300)*math.Pi/180)+r.NormFloat64()*1.5)*1e4) / 1e4, weight: float64(r.IntN(2*2*w.blocksOf)+1) / 2, blocks: int64(w.blocksOf), inLobe: true}
		w.differences[key] = append(w.differences[key], d)
	}
	for s := range 2 {
		for b := range w.blocksOf {
			if s == 0 && b == 2 {
				continue
			}
			v := level + r.NormFloat64()
			w.blocks[key] = append(w.blocks[key], blockDiff{int64(s + 1), int64(b + 1), &v, r.Float64(), int64(20 + b)})
		}
	}
	low, high := level-0.5, level+0.6
	e := map[string]any{"claim": claim, "kind": "level", "band": band, "arms": []string{"high", "low"}, "direction": "sent", "evidence": "randomised",
		"verdict": "different", "reach": "beyond", "reason": "high is 2.80 dB stronger than low (2.30 to 3.40 dB) at the 77 receivers heard, and by their spread also beyond them, by more than the 1.5 dB that matter",
		"reason_code": "different", "smallest_difference_db": 1.5, "estimate_db": level, "interval_db": []any{low, high}, "p": 0.0001, "p_adjusted": 0.0004, "family_size": 4, "p_running": 0.000064,
		"running_interval_db": []any{low - 0.2, high + 0.2}, "beyond": map[string]any{"interval_db": []any{low - 0.3, high + 0.3}, "p": 0.001, "regions": 10.2},
		"naive": map[string]any{"spot_t_p": 0.000001, "uniform_bearings_p": 0.0002, "misleading": true}, "blocks": 15, "blocks_planned": 16, "blocks_dropped": 1, "stations": len(w.stations), "regions": 22, "receptions": 2094,
		"sessions": []any{map[string]any{"session": 1, "blocks": 7, "estimate_db": level + 0.1, "interval_db": []any{low, high}}, map[string]any{"session": 2, "blocks": 8, "estimate_db": level - 0.1, "interval_db": []any{low, high}}},
		"warnings": []any{map[string]any{"code": "thinned", "text": "reports are passed on about every 5 min only: a missing report is no proof of silence"}}}
	if key.band == 1 {
		e["verdict"], e["reason_code"], e["reason"] = "practically the same", "practically_the_same", "any difference is smaller than 1.5 dB at the 79 receivers heard"
	}
	if key.claim == 1 {
		w.lobe(e, key)
	}
	w.add(e, key)
}

func (w *world) lobe(e map[string]any, key claimBand) {
	level := e["estimate_db"].(float64)
	for az := 0.0; az < 360; az += 5 {
		fit := level + 1.2*math.Cos((az-300)*math.Pi/180)
		low, high := fit-0.8, fit+0.9
		w.lobes[key] = append(w.lobes[key], lobePoint{az, fit, &low, &high})
	}
	e["kind"], e["interval_db"], e["running_interval_db"], e["naive"], e["beyond"], e["sessions"] = "directivity", nil, nil, nil, nil, []any{}
	e["p_gate1"], e["p_gate2"], e["shape"] = 0.01, 0.02, "one-sided"
	e["verdict"], e["reason"] = "undecided", "receivers differ, azimuth not shown"
	e["lobe"] = map[string]any{"harmonic": 1, "amplitude_db": 1.2, "amplitude_interval_db": []any{0.2, 2.1}, "toward_deg": 300, "toward_interval_deg": []any{250, 350}}
	e["front_to_back"] = map[string]any{"axis_deg": 300, "estimate_db": 1.16, "interval_db": []any{0.08, nil}}
	var sectors []any
	for from := 0; from < 360; from += sectorWidth {
		n := 0
		for _, s := range w.stations {
			if int(*s.bearing) >= from && int(*s.bearing) < from+sectorWidth {
				n++
			}
		}
		s := map[string]any{"from_deg": from, "to_deg": from + sectorWidth, "estimate_db": nil, "stations": n}
		if n > 0 {
			s["estimate_db"] = level + 1.1*math.Cos((float64(from)+22.5-300)*math.Pi/180)
		}
		sectors = append(sectors, s)
	}
	e["sectors"] = sectors
}

func (w *world) match(band string, key claimBand) {
	from, to := 14.0, 14.35
	if band == "10m" {
		from, to = 28, 29.7
	}
	w.add(map[string]any{"claim": "match holds", "kind": "match", "band": band, "arms": []string{"high", "low"}, "verdict": "holds", "reason_code": "holds",
		"reason": fmt.Sprintf("every reading from %g to %g MHz is at most 2, with its rounding", from, to), "smallest_difference_db": 1.5, "swr_at_most": 2, "from_mhz": from, "to_mhz": to,
		"sweeps":   []any{map[string]any{"arm": "high", "sweep": "sweeps/high.csv", "plane": "radio", "readings": 15, "highest_swr": 1.58, "at_mhz": from}},
		"sessions": []any{}, "warnings": []any{map[string]any{"code": "match_is_not_efficiency", "text": "SWR says how much power is taken, not how much is radiated: a dummy load has a perfect match"}}}, key)
}

func (w *world) add(e map[string]any, key claimBand) {
	w.entries, w.keys = append(w.entries, e), append(w.keys, key)
}

// html gives the page of the world.
func (w *world) html(t testing.TB) string {
	t.Helper()
	in := w.input(t)
	defer in.Release()
	doc, intake, err := w.params.document(in)
	require.NoError(t, err)
	page, err := w.params.page(in, doc, intake)
	require.NoError(t, err)
	return string(page)
}

func (w *world) input(t testing.TB) *pipeline.Input {
	t.Helper()
	intake, err := json.Marshal(w.intake)
	require.NoError(t, err)
	trial, err := json.Marshal(w.trial)
	require.NoError(t, err)
	tables := map[string]arrow.Record{
		"verdicts": w.verdicts(t), "stations": w.stationTable(), "dwells": w.dwells(), "paths": w.paths(), "sweeps": w.sweepTable(),
		"cells": table.NewBuilder(datasets.Cells()).Record(), "quarantine": table.NewBuilder(datasets.Quarantine()).Record(),
	}
	differences, blocks, lobes := table.NewBuilder(datasets.Differences()), table.NewBuilder(datasets.Blocks()), table.NewBuilder(datasets.Lobes())
	for _, k := range w.keys {
		for _, d := range w.differences[k] {
			differences.Append(k.claim, k.band, d.station, d.db, d.weight, d.blocks, d.inLobe)
		}
		for _, b := range w.blocks[k] {
			blocks.Append(k.claim, k.band, b.session, b.block, b.db, b.weight, b.stations)
		}
		for _, l := range w.lobes[k] {
			lobes.Append(k.claim, k.band, l.azimuth, l.fit, l.low, l.high)
		}
	}
	tables["differences"], tables["blocks"], tables["lobes"] = differences.Record(), blocks.Record(), lobes.Record()
	return pipeline.NewInput(context.Background(), memory.DefaultAllocator, tables, map[string][]byte{"intake.json": intake, "trial.json": trial})
}

func (w *world) verdicts(t testing.TB) arrow.Record {
	b := table.NewBuilder(datasets.Verdicts())
	for i, e := range w.entries {
		detail, err := json.Marshal(e)
		require.NoError(t, err)
		b.Append(w.keys[i].claim, w.keys[i].band, e["claim"], e["kind"], e["band"], e["verdict"], e["reach"], e["reason_code"], e["estimate_db"], nil, nil, e["p"], e["p_adjusted"], 0, 0, string(detail))
	}
	return b.Record()
}

func (w *world) stationTable() arrow.Record {
	b := table.NewBuilder(datasets.Stations())
	for _, s := range w.stations {
		b.Append(s.number, s.call, s.locator, s.locator, 50.0, 80.0, s.bearing, s.distance, 4.3, "somewhere")
	}
	return b.Record()
}

func (w *world) dwells() arrow.Record {
	b := table.NewBuilder(datasets.Dwells())
	for s := range 2 {
		for n := range w.blocksOf {
			for k, band := range w.bands {
				start := began.Add(time.Duration(s*24)*time.Hour + time.Duration(n*32+k*7)*time.Minute)
				var reason any
				if s == 0 && n == 2 {
					reason = w.lost
				}
				b.Append(s+1, band, n+1, 1, "high", 1, start, start.Add(30*time.Second), start.Add(6*time.Minute), 11, reason == nil, reason, 0.0, true)
			}
		}
	}
	return b.Record()
}

func (w *world) paths() arrow.Record {
	b := table.NewBuilder(datasets.Paths())
	for _, band := range []string{"10m", "20m"} {
		for _, s := range w.stations {
			if s.bearing == nil {
				continue
			}
			class, low := "over 4000 km", any(4.4)
			if *s.distance < 2000 {
				class, low = "1000-2000 km", 12.6
			}
			b.Append(1, band, 1, s.number, began, 12.4, 25.5, -3.2, class, nil, nil, nil, 1, low, 24.0, 2, 8.1, 30.2, 40030-*s.distance, math.Mod(*s.bearing+180, 360), w.longPath && s.number%9 == 0)
		}
	}
	return b.Record()
}

func (w *world) sweepTable() arrow.Record {
	b := table.NewBuilder(datasets.Sweeps())
	if !w.sweeps {
		return b.Record()
	}
	for a, arm := range []string{"high", "low"} {
		for _, plane := range []string{"feedpoint", "radio"} {
			for _, lo := range []float64{13.95, 28} {
				for i := range 18 {
					mhz := lo + float64(i)*map[bool]float64{true: 0.1, false: 0.025}[lo == 28]
					swr := 1.3 + math.Abs(float64(i-8-a*2))*0.05
					if plane == "feedpoint" {
						swr *= 1.2
					}
					loss := -20 * math.Log10((swr-1)/(swr+1))
					b.Append(inOrder(datasets.Sweeps(), map[string]any{"arm": arm, "sweep": "sweeps/" + arm + "-readings.csv", "plane": plane, "measured": plane == "radio",
						"frequency_mhz": mhz, "z0_ohm": 50.0, "swr": swr, "return_loss_db": loss, "line": i + 2})...)
				}
			}
		}
	}
	return b.Record()
}

// inOrder puts values by name into the order of the columns; a column that is not named is null.
func inOrder(schema *arrow.Schema, named map[string]any) []any {
	out := make([]any, schema.NumFields())
	for i, f := range schema.Fields() {
		out[i] = named[f.Name]
	}
	return out
}
