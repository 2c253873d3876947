package judge_test

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/judge"
)

// otherworld makes trials by other means than the method that judges them has in mind, and apart from the maker of the
// demonstration. Antennas are tables of numbers by 30-degree sector. Receivers sit in places from a list.
// Fading has heavy tails (Student t with 3 degrees of freedom), each receiver's noise switches between two states, and
// bursts take a part of the band away for some slots. The band is open toward a sector that wanders during the trial.
// A receiver decodes above a hard threshold of its own, shows no more than a greatest figure of its own, and passes on
// each report, or one of an interval by its own clock: the first, the last or the best.
//
// Numbers are invented; the sizes of fading, site noise and drift are those usual at HF.
type otherworld struct {
	seed      uint64
	blocks    int // at one sitting
	slots     int // own transmissions in a dwell, 30 s apart
	receivers int
	low, high table12 // gain of the two arms by sector, dB
	strength  table12 // of all that comes from a sector, dB
	meanDB    float64
	ownSD     float64 // of each receiver's own difference between the arms, dB
	regionSD  float64 // the same, shared by the receivers of a region
}

// table12 has a number for each 30-degree sector, the first from 0 to 30 degrees.
type table12 [12]float64

// A table with its greatest figures from 120 to 180 degrees, and a mean of 0.
var leaning = table12{-1.9, -1.4, 0.2, 2.1, 3.2, 3.3, 2.3, 0.1, -1.3, -2.0, -2.3, -2.3}

// otherPlaces are where receivers live: a bearing and a distance, how far they spread about it, and what share of them is there.
var otherPlaces = []struct{ deg, km, spreadDeg, share float64 }{
	{52, 780, 14, 6}, {71, 1250, 9, 5}, {95, 2100, 12, 3}, {128, 640, 15, 2}, {143, 1700, 9, 3}, {187, 900, 12, 2},
	{205, 2600, 15, 2}, {236, 1150, 10, 2}, {262, 540, 12, 2}, {281, 5900, 9, 4}, {308, 6700, 10, 3}, {331, 1400, 12, 2}, {14, 1050, 10, 3},
}

// What a receiver may be like, drawn from lists.
var (
	otherThresholds = []float64{-24, -22.5, -21.5, -20, -19.5} // dB; all below the cut of -18
	otherCaps       = []float64{99, 99, 30, 22, 16}            // dB
	otherHabits     = []string{"all", "all", "all", "first", "last", "best"}
	otherIntervals  = []int64{2, 4, 5} // slots
	// by sectors away from the one toward which the band is open, dB
	openToward = [7]float64{4, 3, 1, -1, -2.5, -3.5, -4}
)

type otherReceiver struct {
	deg, km            float64
	region             string
	sector             int
	level, own         float64
	threshold, most    float64
	habit              string
	interval, phase    int64 // slots
	noisy              bool
	noiseDB, switching float64 // height of the noisy state; chance of a change of state in a slot
}

// student3 has Student's t distribution with 3 degrees of freedom: a normal over the root of a chi square by its 3.
func student3(r *rand.Rand) float64 {
	sum := 0.0
	for range 3 {
		x := r.NormFloat64()
		sum += x * x
	}
	return r.NormFloat64() / math.Sqrt(sum/3)
}

func pick[T any](r *rand.Rand, from []T) T { return from[r.IntN(len(from))] }

func (o otherworld) draw(r *rand.Rand) []*otherReceiver {
	shares := 0.0
	for _, p := range otherPlaces {
		shares += p.share
	}
	regional := map[string]float64{}
	out := make([]*otherReceiver, o.receivers)
	for i := range out {
		at, n := r.Float64()*shares, 0
		for ; at >= otherPlaces[n].share; n++ {
			at -= otherPlaces[n].share
		}
		p := otherPlaces[n]
		deg := math.Mod(p.deg+p.spreadDeg*(2*r.Float64()-1)+360, 360)
		km := p.km * (0.85 + 0.3*r.Float64())
		x := &otherReceiver{
			deg: deg, km: km, sector: int(deg / 30), level: o.meanDB + 6*r.NormFloat64(),
			threshold: pick(r, otherThresholds), most: pick(r, otherCaps), habit: pick(r, otherHabits),
			interval: pick(r, otherIntervals), phase: r.Int64N(5), noiseDB: 3 + 5*r.Float64(), switching: 0.02 + 0.1*r.Float64(),
		}
		x.region = fmt.Sprintf("sector %02d, %d", x.sector, int(math.Log2(km/400)))
		if _, known := regional[x.region]; !known {
			regional[x.region] = o.regionSD * r.NormFloat64()
		}
		x.own = o.ownSD*r.NormFloat64() + regional[x.region]
		out[i] = x
	}
	return out
}

// otherReport is a row of the receptions.
type otherReport struct {
	block, station int
	arm            string
	slot           time.Time
	snr, dither    float64
}

var otherStart = time.Date(2026, 5, 2, 8, 0, 0, 0, time.UTC)

const otherSlot = 30 * time.Second

// otherSky is what all receivers of a sector share.
type otherSky struct {
	toward float64 // the sector toward which the band is open
	burst  [12]int // slots that a burst still lasts
}

func (s *otherSky) step(r *rand.Rand) {
	s.toward = math.Mod(s.toward+0.05+0.1*r.NormFloat64()+12, 12)
	for i := range s.burst {
		s.burst[i]--
		if r.Float64() < 0.01 {
			s.burst[i] = 1 + r.IntN(4)
		}
	}
}

// gain of a sector at this moment, dB.
func (s *otherSky) gain(sector int) float64 {
	away := math.Abs(math.Remainder(float64(sector)-s.toward, 12))
	db := openToward[int(math.Round(away))]
	if s.burst[sector] > 0 {
		db -= 9
	}
	return db
}

// snr is what reaches the decoder of a receiver in one slot, dB; the receiver's noise moves on.
func (x *otherReceiver) snr(r *rand.Rand, sky *otherSky, gains, strength table12) float64 {
	if r.Float64() < x.switching {
		x.noisy = !x.noisy
	}
	snr := x.level + strength[x.sector] + sky.gain(x.sector) + gains[x.sector] + 1.6*student3(r)
	if x.noisy {
		snr -= x.noiseDB
	}
	return snr
}

// carryOut gives the receivers, whether arm high was first in each block, and what was reported.
func (o otherworld) carryOut() (receivers []*otherReceiver, highFirst []bool, reports []otherReport) {
	r := rand.New(rand.NewPCG(o.seed, 0x07e9))
	receivers = o.draw(r)
	sky := &otherSky{toward: 12 * r.Float64()}
	for b := range o.blocks {
		highFirst = append(highFirst, r.IntN(2) == 1)
		for dwell := range 2 {
			reports = append(reports, o.dwell(r, sky, receivers, b, dwell, (dwell == 0) == highFirst[b])...)
		}
	}
	return receivers, highFirst, reports
}

func (o otherworld) dwell(r *rand.Rand, sky *otherSky, receivers []*otherReceiver, block, dwell int, high bool) []otherReport {
	arm, gains := "low", o.low
	if high {
		arm, gains = "high", o.high
	}
	decoded := make([][]otherReport, len(receivers))
	for k := range o.slots {
		sky.step(r)
		for i, x := range receivers {
			snr := x.snr(r, sky, gains, o.strength)
			if high {
				snr += x.own
			}
			if snr > x.threshold {
				slot := o.dwellStart(block, dwell).Add(time.Duration(k+1) * otherSlot) // the first slot settles
				decoded[i] = append(decoded[i], otherReport{block, i, arm, slot, min(x.most, math.Round(snr)), r.Float64() - 0.5})
			}
		}
	}
	var out []otherReport
	for i, x := range receivers {
		out = append(out, x.passOn(decoded[i])...)
	}
	return out
}

// passOn gives what the receiver tells of what it decoded in a dwell.
func (x *otherReceiver) passOn(decoded []otherReport) []otherReport {
	if x.habit == "all" {
		return decoded
	}
	var out []otherReport
	last := int64(-1)
	for _, d := range decoded {
		interval := (d.slot.Unix()/int64(otherSlot.Seconds()) + x.phase) / x.interval
		switch {
		case interval != last:
			out, last = append(out, d), interval
		case x.habit == "last", x.habit == "best" && d.snr > out[len(out)-1].snr:
			out[len(out)-1] = d
		}
	}
	return out
}

// Between dwells there is a pause longer than an interval of a receiver's clock.
func (o otherworld) dwellTime() time.Duration { return time.Duration(o.slots+1) * otherSlot }

func (o otherworld) dwellStart(block, dwell int) time.Time {
	return otherStart.Add(time.Duration(2*block+dwell) * (o.dwellTime() + 3*time.Minute))
}

// input makes the tables that the judge reads.
func (o otherworld) input(needs []string) *pipeline.Input {
	receivers, highFirst, reports := o.carryOut()
	end := o.dwellStart(o.blocks-1, 1).Add(o.dwellTime())
	files := map[string][]byte{}
	for name, v := range map[string]any{"trial.json": account.Trial{}, "intake.json": account.Intake{Read: len(reports), Used: len(reports), Last: &end}} {
		text, err := json.Marshal(v)
		if err != nil {
			panic(err)
		}
		files[name] = text
	}
	tables := map[string]arrow.Record{}
	for _, need := range needs {
		switch need {
		case "trial.json", "intake.json":
		case "dwells":
			tables[need] = o.dwellTable(highFirst)
		case "stations":
			tables[need] = otherStationTable(receivers)
		case "receptions":
			tables[need] = otherReceptionTable(reports)
		case "late_receptions", "control_receptions": // nothing was dropped, and there is no control station
			tables[need] = otherReceptionTable(nil)
		case "listening":
			tables[need] = table.NewBuilder(datasets.Listening()).Record()
		case "sweeps": // nothing was measured
			tables[need] = table.NewBuilder(datasets.Sweeps()).Record()
		default:
			panic("the judge needs " + need)
		}
	}
	return pipeline.NewInput(context.Background(), memory.NewGoAllocator(), tables, files)
}

func (o otherworld) dwellTable(highFirst []bool) arrow.Record {
	b := table.NewBuilder(datasets.Dwells())
	for block, first := range highFirst {
		for dwell := range 2 {
			arm, start := "low", o.dwellStart(block, dwell)
			if (dwell == 0) == first {
				arm = "high"
			}
			b.Append(1, "20m", block+1, dwell+1, arm, 1, start, start.Add(otherSlot), start.Add(o.dwellTime()), o.slots, true, nil, 0.0, true)
		}
	}
	return b.Record()
}

func otherStationTable(receivers []*otherReceiver) arrow.Record {
	b := table.NewBuilder(datasets.Stations())
	for i, x := range receivers {
		b.Append(i, fmt.Sprintf("Q9%03d", i), "there", nil, 0.0, 0.0, x.deg, x.km, 0.0, x.region)
	}
	return b.Record()
}

func otherReceptionTable(reports []otherReport) arrow.Record {
	slices.SortStableFunc(reports, func(x, y otherReport) int {
		return cmp.Or(cmp.Compare(x.block, y.block), cmp.Compare(x.arm, y.arm), cmp.Compare(x.station, y.station), x.slot.Compare(y.slot))
	})
	b := table.NewBuilder(datasets.Receptions())
	for _, r := range reports {
		b.Append(1, "20m", r.block+1, r.arm, "sent", r.station, r.slot, r.snr, r.dither, nil)
	}
	return b.Record()
}

// judged gives the verdict on one claim, the only one of its family. It may run beside others.
func (o otherworld) judged(claim judge.Claim) (judge.Entry, error) {
	stage := judge.Stage(judge.Params{
		Claims: []judge.Claim{claim}, Bands: []judge.Band{{Name: "20m", FromMHz: 14, ToMHz: 14.35, Planned: o.blocks}},
		Arms: []string{"low", "high"}, SmallestDB: 1.5, CutDB: -18, Seed: o.seed, Stopping: "fixed",
		Seal: judge.SealSame, SealedMs: otherStart.Add(-time.Hour).UnixMilli(), SlotMs: 15000,
	})
	in := o.input(stage.Needs)
	defer in.Release()
	res, err := stage.Run(context.Background(), in)
	if err != nil {
		return judge.Entry{}, err
	}
	rec := res.Tables[judge.TableVerdicts]
	defer rec.Release()
	var e judge.Entry
	r := table.NewReader(rec)
	if !r.Next() {
		return e, fmt.Errorf("no verdict")
	}
	return e, json.Unmarshal([]byte(r.Str("detail")), &e)
}

// trials judges the same world with other seeds, in their order, hands on each entry that is not refused for where
// the receivers happen to be, and gives their number.
func (o otherworld) trials(t *testing.T, n int, claim judge.Claim, look func(judge.Entry)) (judged int) {
	t.Helper()
	first := o.seed
	for i := range n {
		o.seed = first + uint64(i)
		e, err := o.judged(claim)
		require.NoError(t, err)
		if slices.Contains([]string{contrast.NotSurrounded, contrast.TooFewStations, contrast.TooFewRegions}, e.ReasonCode) {
			continue
		}
		require.NotEqual(t, judge.Refused, e.Verdict, e.Reason)
		judged++
		look(e)
	}
	require.GreaterOrEqual(t, judged, n*3/4, "too many trials refused")
	return judged
}
