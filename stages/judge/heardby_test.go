package judge_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/judge"
)

func heardByClaim(points float64) judge.Claim {
	c := level()
	c.Kind, c.Name, c.SmallestPoints = "heard_by", "more hear it", points
	return c
}

// lot gives a number from 0 to 1 that depends on what it is drawn for and on nothing else.
func lot(seed uint64, block, station int, arm string) float64 {
	return rand.New(rand.NewPCG(seed<<32|uint64(block)<<16|uint64(station), uint64(len(arm)))).Float64()
}

// heardOften is a trial of 12 blocks in which each of 24 stations hears low with a chance of 40 %, and high with more. All
// of them are known to listen all the time.
func heardOften(points float64, more func(at place) float64) *world {
	return with(asking(plain(), heardByClaim(points)), func(w *world) {
		w.blocks = 12
		w.listens = func(place, string) bool { return true }
		w.silent = func(at place, arm string, _ int) bool {
			chance := 0.4
			if arm == "high" {
				chance += more(at)
			}
			return lot(3, at.block, at.station, arm) >= chance
		}
	})
}

func by(share float64) func(place) float64 { return func(place) float64 { return share } }

func heardByCases() []ruleCase {
	const rule = "heard_by: the rules of a level, for shares"
	is := func(name string, w *world, verdict, code, reach string, warns []string, says ...string) ruleCase {
		return ruleCase{rule: rule, name: name, world: w, verdict: verdict, code: code, reach: reach, warns: warns, says: says}
	}
	noBackground := func(w *world) { w.listens = nil }
	received := func(w *world) { w.direction, w.claims[0].Direction = "received", "received" }
	nineOf := func(w *world) { w.last = began.Add(9*20*time.Minute - time.Second) }
	open := func(w *world) { w.params.Stopping = "open" }
	unsure := func(share float64) *world {
		return with(heardOften(5, by(share)), func(w *world) { w.blocks = 8 })
	}
	allHear := with(heardOften(10, by(0)), func(w *world) { w.silent = func(place, string, int) bool { return false } })
	few := func(stations int) *world {
		return with(heardOften(10, by(0.3)), func(w *world) {
			before := w.silent
			w.silent = func(at place, arm string, slot int) bool { return at.station >= stations || before(at, arm, slot) }
		})
	}
	sessions := with(heardOften(60, func(at place) float64 { return 0.5*float64(at.session) - 0.7 }), func(w *world) {
		w.sessions, w.blocks = 2, 8
		before := w.silent
		w.silent = func(at place, arm string, slot int) bool {
			if arm == "high" && at.session == 1 {
				return at.station%2 == 0 || before(at, arm, slot)
			}
			return before(at, arm, slot)
		}
	})
	return []ruleCase{
		is("different", heardOften(10, by(0.4)), "different", "different", beyond, []string{}, "of the 24 receivers that were listening, high is heard by", "percentage points more", "more than the 10 that matter; by their spread that holds beyond these receivers, too"),
		is("the size is not settled", heardOften(42, by(0.4)), "different", "different", beyond, []string{}, "the size is not settled"),
		is("the other arm", heardOften(10, by(-0.3)), "different", "different", beyond, []string{}, "low is heard by"),
		is("no background", with(heardOften(10, by(0.4)), noBackground), "different", "different", beyond, []string{"listening_unknown"}, "of the 24 receivers that heard either arm in the session"),
		is("background of some blocks", with(heardOften(10, by(0.4)), func(w *world) { w.listens = func(at place, _ string) bool { return at.block < 6 } }), "different", "different", beyond, []string{"listening_unknown"}, "or, where that is not known, heard either arm in the session"),
		is("received", with(heardOften(10, by(0.4)), received), "different", "different", beyond, []string{"listening_unknown"}, "of the 24 stations heard in the session", "high hears"),
		is("the same", heardOften(30, by(0)), "practically the same", "practically_the_same", beyond, []string{}, "any difference is smaller than 30 percentage points"),
		is("the same, though there", heardOften(45, by(0.2)), "practically the same", "practically_the_same", beyond, []string{}, "in favour of high", "less than 45 does not matter"),
		is("undecided", unsure(0), "undecided", "undecided", here, []string{}, "no difference of shares, and also differences that matter", "a new trial of about"),
		is("undecided, open", with(unsure(0), open), "undecided", "undecided", here, []string{}, "blocks in all would find a difference of 5 percentage points"),
		is("would pass alone", with(unsure(0.12), func(w *world) { w.blocks = 10 }).questions(6), "undecided", "would_pass_alone", here, nil, "not among the 7 questions asked"),
		is("losses", with(heardOften(10, by(0.4)), func(w *world) { w.trial.Losses = []account.Loss{{Band: "20m", Share: 0.3, P: 1}} }), "undecided", "losses", here, []string{"losses"}),
		is("sessions differ", sessions, "undecided", "sessions_differ", here, []string{"sessions_differ"}),
		is("all hear both", allHear, "practically the same", "practically_the_same", beyond, []string{"saturated"}, "nearly all of them hear both, so this says little of the arms"),
		is("unfinished", with(heardOften(10, by(0.4)), nineOf), "undecided", "unfinished", "", []string{}, "9 of 12 blocks are in"),
		is("open", with(with(heardOften(10, by(0.5)), nineOf), open), "different", "different", here, []string{}),
		is("too few blocks", with(heardOften(10, by(0.4)), func(w *world) { w.blocks = 5 }), "refused", "too_few_blocks", "", []string{}),
		is("too few stations", few(2), "refused", "too_few_stations", "", []string{}, "2 heard an arm"),
		is("too few reports", with(few(3), func(w *world) { w.blocks = 3 }), "refused", "too_few_reports", "", []string{}),
		is("few stations", with(heardOften(10, by(0.5)), func(w *world) { w.stations = around(6) }), "different", "different", here, []string{"few_stations"}),
		is("not random", with(heardOften(10, by(0.4)), func(w *world) {
			w.params.Seal, w.params.SealedMs, w.params.OrderFile = judge.SealNone, 0, true
		}), "refused", "order_not_random", "", []string{}, "described, not tested"),
		is("within a distance", with(heardOften(10, by(0.45)), func(w *world) { w.claims[0].WithinKm = &[2]float64{0, 1000} }), "different", "different", beyond, nil, "of the 12 receivers that were listening up to 1000 km away"),
	}
}

// Estimate and shares by the plainest code, from what the world says: who counts, who heard.
func TestHeardByCountsWhoWasListening(t *testing.T) {
	for name, c := range map[string]struct {
		listens func(at place, arm string) bool
		known   int
	}{
		"all":  {func(place, string) bool { return true }, 12},
		"none": {nil, 0},
		"some": {func(at place, arm string) bool {
			return at.block%3 > 0 && (at.station%4 == 0 || arm == "low" && at.station%5 == 1)
		}, 8},
	} {
		t.Run(name, func(t *testing.T) {
			w := heardOften(10, by(0.1))
			w.listens = c.listens
			w.stations[7].region = "own square"
			before := w.silent
			w.silent = func(at place, arm string, slot int) bool { return at.station > 20 || before(at, arm, slot) }
			e := w.one(t)
			inSession := map[int]bool{}
			heard := func(b, s int, arm string) bool {
				return s != 7 && !w.silent(place{band: "20m", block: b, session: 1, station: s, far: w.stations[s]}, arm, 1)
			}
			for b := range 12 {
				for s := range 24 {
					if heard(b, s, "high") || heard(b, s, "low") {
						inSession[s] = true
					}
				}
			}
			var sum, first, second, weights float64
			for b := range 12 {
				var m, high, low float64
				known := false
				for s := range 24 {
					known = known || w.listens != nil && (w.listens(place{block: b, station: s}, "high") || w.listens(place{block: b, station: s}, "low"))
				}
				for s := range 24 {
					at := place{block: b, station: s}
					there := !known && inSession[s]
					there = there || known && (w.listens(at, "high") || w.listens(at, "low")) || heard(b, s, "high") || heard(b, s, "low")
					if !there || s == 7 {
						continue
					}
					m++
					if heard(b, s, "high") {
						high++
					}
					if heard(b, s, "low") {
						low++
					}
				}
				weight := m / (m + 10)
				sum += weight * (high - low) / m * 100
				first, second, weights = first+weight*high/m*100, second+weight*low/m*100, weights+weight
			}
			require.InDelta(t, sum/weights, *e.EstimatePoints, 0.5e-4+1e-9) // rounded to 4 decimals
			require.InDelta(t, first/weights, e.SharesPercent[0], 0.5e-4+1e-9)
			require.InDelta(t, second/weights, e.SharesPercent[1], 0.5e-4+1e-9)
			require.Equal(t, c.known, e.BlocksKnown)
			require.Nil(t, e.EstimateDB)
			require.Nil(t, e.IntervalDB)
			require.Nil(t, e.SmallestDB)
		})
	}
}

// Exchanging the arms of the claim turns the signs and changes nothing else.
func TestHeardBySwapped(t *testing.T) {
	for _, open := range []string{"fixed", "open"} {
		w := with(heardOften(10, by(0.15)), func(w *world) {
			w.sessions, w.blocks, w.params.Stopping = 2, 7, open
			w.listens = func(at place, _ string) bool { return at.block%2 == 0 && at.station%3 > 0 }
		})
		a := w.one(t)
		w.swapped = true
		b := w.one(t)
		require.Equal(t, [4]any{*a.P, *a.PRunning, a.Verdict, a.ReasonCode}, [4]any{*b.P, *b.PRunning, b.Verdict, b.ReasonCode})
		require.Equal(t, -*a.EstimatePoints, *b.EstimatePoints)
		require.Equal(t, [2]float64{a.SharesPercent[0], a.SharesPercent[1]}, [2]float64{b.SharesPercent[1], b.SharesPercent[0]})
		pairs := [][2]*judge.Range{{a.IntervalPoints, b.IntervalPoints}, {a.RunningPoints, b.RunningPoints}}
		if a.Beyond != nil {
			pairs = append(pairs, [2]*judge.Range{a.Beyond.IntervalPoints, b.Beyond.IntervalPoints})
		}
		for i := range a.Sessions {
			require.Equal(t, -*a.Sessions[i].EstimatePoints, *b.Sessions[i].EstimatePoints)
			pairs = append(pairs, [2]*judge.Range{a.Sessions[i].IntervalPoints, b.Sessions[i].IntervalPoints})
		}
		for _, pair := range pairs {
			require.Equal(t, [2]float64{-*pair[0][1], -*pair[0][0]}, [2]float64{*pair[1][0], *pair[1][1]})
		}
		require.Equal(t, a.Warnings, b.Warnings)
	}
}

// audibility is an invented trial, for false alarms: two dwells a block, with an opening that changes from dwell to dwell,
// stations of very unequal activity that come and go, and regions whose stations gain from an arm.
type audibility struct {
	stations, blocks int
	background       bool
	// regionSD is by how much the gain of an arm differs between regions, in logits; its mean is gain.
	gain, regionSD float64
}

func (a audibility) judged(t *testing.T, seed uint64) entry {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 41))
	stations, dwells := table.NewBuilder(datasets.Stations()), table.NewBuilder(datasets.Dwells())
	base, active, gain := make([]float64, a.stations), make([]float64, a.stations), make([]float64, a.stations)
	regions := make([]float64, 14)
	for i := range regions {
		regions[i] = a.gain + a.regionSD*r.NormFloat64()
	}
	for i := range a.stations {
		region := int(float64(len(regions)) * r.Float64() * r.Float64()) // clustered
		base[i], active[i], gain[i] = 2*r.NormFloat64(), math.Max(0.05, r.Float64()*r.Float64()), regions[region]
		stations.Append(i, fmt.Sprintf("Q9%03d", i), "there", nil, 0.0, 0.0, math.Floor(25*float64(region)), 900.0, 0.0, fmt.Sprint(region))
	}
	var heard []receptionRow
	var listened []listeningRow
	var end time.Time
	for b := range a.blocks {
		arms := []string{"low", "high"}
		if r.IntN(2) == 1 {
			slices.Reverse(arms)
		}
		there := make([]bool, a.stations)
		for i := range there {
			there[i] = r.Float64() < active[i]
		}
		for dwell, arm := range arms {
			from := began.Add(time.Duration(2*b+dwell) * 8 * time.Minute)
			end = from.Add(6 * time.Minute)
			dwells.Append(1, "20m", b+1, dwell+1, arm, 1, from, from.Add(30*time.Second), end, 11, true, nil, 0.0, true)
			opening := 1.5 * r.NormFloat64()
			for i := range a.stations {
				listens := there[i] && r.Float64() < 0.9 || r.Float64() < 0.05*active[i]
				if !listens {
					continue
				}
				listened = append(listened, listeningRow{1, b + 1, dwell + 1, "20m", arm, i})
				logit := base[i] + opening
				if arm == "high" {
					logit += gain[i]
				}
				if r.Float64() < 1/(1+math.Exp(-logit)) {
					heard = append(heard, receptionRow{1, b + 1, "20m", arm, "sent", i, from.Add(time.Minute), math.Round(-12 + logit), 0.1, nil})
				}
			}
		}
	}
	w := &world{listened: listened}
	if !a.background {
		w.listened = nil
	}
	stage := judge.Stage(judge.Params{
		Claims: []judge.Claim{heardByClaim(10)}, Bands: []judge.Band{{Name: "20m", FromMHz: 14, ToMHz: 14.35, Planned: a.blocks}},
		Arms: []string{"low", "high"}, SmallestDB: 1.5, CutDB: -18, Seed: seed, Stopping: "fixed", Seal: judge.SealSame, SealedMs: sealedMs, SlotMs: 15000,
	})
	tables := map[string]arrow.Record{"dwells": dwells.Record(), "stations": stations.Record(), "receptions": w.receptionTable(heard),
		"listening": w.listeningTable(), "sweeps": table.NewBuilder(datasets.Sweeps()).Record()}
	for _, need := range stage.Needs {
		if strings.HasSuffix(need, "_receptions") {
			tables[need] = w.receptionTable(nil)
		}
	}
	in := pipeline.NewInput(context.Background(), memory.NewGoAllocator(), tables, map[string][]byte{"trial.json": asJSON(account.Trial{}), "intake.json": asJSON(account.Intake{Read: 1, Used: 1, Last: &end})})
	defer in.Release()
	res, err := stage.Run(context.Background(), in)
	require.NoError(t, err)
	for _, rec := range res.Tables {
		defer rec.Release()
	}
	rows := table.NewReader(res.Tables[judge.TableVerdicts])
	require.True(t, rows.Next())
	var e entry
	require.NoError(t, json.Unmarshal([]byte(rows.Str("detail")), &e))
	return e
}

// heardByTrials is the number of simulated trials; the race detector looks at the code, not at the figures.
func heardByTrials() int {
	if testing.Short() {
		return 200
	}
	return 500
}

// holds tells whether a value lies in an interval, in which an end without bound is nil.
func holds(i *judge.Range, v float64) bool {
	return (i[0] == nil || *i[0] <= v) && (i[1] == nil || *i[1] >= v)
}

// Two arms that do not differ are found to differ in at most 5 % of trials, and to do so beyond the stations heard in fewer
// still; 99.9 % binomial bounds.
func TestHeardByFalseAlarms(t *testing.T) {
	for name, a := range map[string]audibility{
		"with background":    {stations: 40, blocks: 10, background: true},
		"without background": {stations: 40, blocks: 10},
		"few of both":        {stations: 12, blocks: 7, background: true},
	} {
		t.Run(name, func(t *testing.T) {
			at5, at1, watched, beyondThem, covered, judged := 0, 0, 0, 0, 0, 0
			for seed := range uint64(heardByTrials()) {
				e := a.judged(t, seed)
				if e.Verdict == "refused" {
					continue
				}
				judged++
				at5 += truth(*e.P <= 0.05)
				at1 += truth(*e.P <= 0.01)
				watched += truth(*e.PRunning <= 0.05)
				beyondThem += truth(e.Verdict == "different" && *e.Reach == beyond)
				covered += truth(holds(e.IntervalPoints, 0))
			}
			t.Logf("of %d: p <= 0.05 %d, p <= 0.01 %d, watched %d, different beyond %d, interval holds 0 %d", judged, at5, at1, watched, beyondThem, covered)
			require.Greater(t, judged, heardByTrials()*4/5)
			require.LessOrEqual(t, at5, atMost(judged, 0.05))
			require.LessOrEqual(t, at1, atMost(judged, 0.01))
			require.LessOrEqual(t, watched, atMost(judged, 0.05))
			require.LessOrEqual(t, beyondThem, atMost(judged, 0.05))
			require.GreaterOrEqual(t, covered, judged-atMost(judged, 0.05))
			require.Positive(t, at5, "a test that never says no is no test")
		})
	}
}

// Where regions gain and lose by an arm and nothing is gained over all, what is said beyond the stations heard is seldom
// wrong: the second test is an approximation, so the bound is that of 8 %.
func TestHeardByBeyondWhereRegionsDiffer(t *testing.T) {
	a := audibility{stations: 50, blocks: 12, background: true, regionSD: 1.2}
	wrong := 0
	for seed := range uint64(heardByTrials()) {
		e := a.judged(t, seed)
		wrong += truth(e.Verdict == "different" && *e.Reach == beyond)
	}
	t.Logf("different beyond the stations heard: %d of %d", wrong, heardByTrials())
	require.LessOrEqual(t, wrong, atMost(heardByTrials(), 0.08))
}

// atMost is the 99.9 % bound of how often an event of a chance happens in n trials: the least k with P(Bin(n, chance) <= k)
// of 99.9 % or more.
func atMost(n int, chance float64) int {
	d := distuv.Binomial{N: float64(n), P: chance}
	k := 0
	for d.CDF(float64(k)) < 0.999 {
		k++
	}
	return k
}
