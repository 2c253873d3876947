package judge_test

import (
	"math"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
	"fairlobe/stages/judge"
)

// pictures holds the tables of what pictures show, and that of fits.
type pictures struct {
	blocks      []blockRow
	differences []differenceRow
	lobes       []lobeRow
	fits        []fitRow
}

type blockRow struct {
	claim, band, session, number, stations int
	db                                     *float64
	weight                                 float64
}

type differenceRow struct {
	claim, band, station, blocks int
	db, weight                   float64
	inLobe                       bool
}

type lobeRow struct {
	claim, band int
	deg, fit    float64
	low, high   *float64
}

type fitRow struct {
	claim, band, harmonic         int
	cos, sin, varCos, varSin, cov float64
}

func picturesIn(tables map[string]arrow.Record) pictures {
	var s pictures
	number := func(r *table.Reader, column string) int { return int(r.Int(column)) }
	for r := table.NewReader(tables[judge.TableBlocks]); r.Next(); {
		s.blocks = append(s.blocks, blockRow{number(r, "claim_number"), number(r, "band_number"), number(r, "session"), number(r, "block"), number(r, "stations"),
			r.FloatOrNil("difference_db"), r.Float("weight")})
	}
	for r := table.NewReader(tables[judge.TableDifferences]); r.Next(); {
		s.differences = append(s.differences, differenceRow{number(r, "claim_number"), number(r, "band_number"), number(r, "station"), number(r, "blocks"),
			r.Float("difference_db"), r.Float("weight"), r.Bool("in_lobe")})
	}
	for r := table.NewReader(tables[judge.TableLobes]); r.Next(); {
		s.lobes = append(s.lobes, lobeRow{number(r, "claim_number"), number(r, "band_number"), r.Float("azimuth_deg"), r.Float("fit_db"), r.FloatOrNil("low_db"), r.FloatOrNil("high_db")})
	}
	for r := table.NewReader(tables[judge.TableFits]); r.Next(); {
		s.fits = append(s.fits, fitRow{number(r, "claim_number"), number(r, "band_number"), number(r, "harmonic"),
			r.Float("cos_db"), r.Float("sin_db"), r.Float("var_cos"), r.Float("var_sin"), r.Float("cov")})
	}
	return s
}

// of gives the rows of one claim on its only band.
func (s pictures) of(claim int) pictures {
	var out pictures
	for _, r := range s.blocks {
		if r.claim == claim {
			out.blocks = append(out.blocks, r)
		}
	}
	for _, r := range s.differences {
		if r.claim == claim {
			out.differences = append(out.differences, r)
		}
	}
	for _, r := range s.lobes {
		if r.claim == claim {
			out.lobes = append(out.lobes, r)
		}
	}
	for _, r := range s.fits {
		if r.claim == claim {
			out.fits = append(out.fits, r)
		}
	}
	return out
}

func fourKinds() []judge.Claim {
	return []judge.Claim{level(), lobe("one-sided"), kind("null", 0), kind("known_step", 3)}
}

// Rows stand for every claim that compares two arms, whatever became of it; a lobe where its amplitude is shown.
func TestShownForEveryComparison(t *testing.T) {
	for _, c := range []struct {
		name   string
		world  *world
		blocks int
		lobe   bool
	}{
		{"different", plain().differ(3).leans(3), 10, true},
		{"practically the same", plain(), 10, true},
		{"undecided", with(plain(), func(w *world) { w.blockSD = 5 }), 10, true},
		{"refused for the evidence", with(plain().differ(3), func(w *world) { w.params.Seal = judge.SealOrder }), 10, true},
		{"refused for few stations", with(plain().differ(3), func(w *world) { w.stations = around(2) }), 10, false},
		{"refused for few blocks", with(plain().differ(3), func(w *world) { w.blocks = 4 }), 4, false},
		{"unfinished", with(plain().differ(3), func(w *world) { w.last = began.Add(2*time.Hour - time.Second) }), 6, false},
		{"open", with(plain().differ(3), func(w *world) { w.params.Stopping = "open" }), 10, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			entries, s := asking(c.world, fourKinds()...).judgedAndShown(t)
			for i, e := range entries {
				some := s.of(i)
				require.Len(t, some.blocks, c.blocks, e.Kind)
				require.Len(t, some.differences, len(c.world.stations), e.Kind)
				require.Equal(t, 72*truth(c.lobe && e.Kind == "directivity"), len(some.lobes), e.Kind)
			}
		})
	}
	w := asking(plain(), heardByClaim(10), matchClaim("low"), lobe("one-sided"))
	w.claims[2].Arms = []string{"low"}
	_, none := w.judgedAndShown(t)
	require.Empty(t, none.blocks)
	require.Empty(t, none.differences)
	require.Empty(t, none.lobes)
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// patchy is a trial on which little is plain: sessions, lost blocks, blocks that nobody heard, stations without a place,
// silences.
func patchy() *world {
	return with(asking(plain().differ(2).leans(1), fourKinds()...), func(w *world) {
		w.sessions, w.blocks = 2, 7
		w.lost[3] = "dropped: rain"
		w.stations[5].unknown = true
		w.stations[6].call += "/M"
		w.levelDB = func(at place) float64 { return -17 + float64(at.station%9) }
		w.silent = func(at place, arm string, slot int) bool {
			return at.block == 5 || (at.station+at.block)%5 == 0 && arm == "low" || slot%3 > 0
		}
	})
}

// The sum over the blocks is the sum over the stations. A block's weight is m/(m + 10), so m is 10 w/(1 - w).
func TestShownBlocksAndStationsAreOneSum(t *testing.T) {
	w := patchy()
	entries, s := w.judgedAndShown(t)
	for i, e := range entries {
		some := s.of(i)
		require.Len(t, some.blocks, 13)
		var byBlock, byStation, m, weight float64
		cells, outside := 0, 0
		for _, b := range some.blocks {
			if b.db == nil {
				require.Equal(t, [3]int{1, 6, 0}, [3]int{b.session, b.number, b.stations})
				require.Zero(t, b.weight)
				continue
			}
			own := 10 * b.weight / (1 - b.weight)
			m += own
			byBlock += own * *b.db
			cells += b.stations
		}
		for _, d := range some.differences {
			outside += truth(!d.inLobe)
			if e.Kind != "directivity" || d.inLobe {
				byStation += d.weight * d.db
				weight += d.weight
				cells -= d.blocks
			}
		}
		require.Equal(t, 2, outside)
		require.Zero(t, cells)
		// weights are rounded to 0.00005, which is 0.006 of an m of 24
		require.InEpsilon(t, weight, m, 1e-3, e.Kind)
		if e.Kind == "directivity" {
			// The blocks are those of the stations with a place, whose drift is not quite that of all.
			require.InEpsilon(t, byStation, byBlock, 5e-3, e.Kind)
			continue
		}
		require.InEpsilon(t, byStation, byBlock, 1e-3, e.Kind)
	}
}

// With nothing censored the weighted mean of the blocks is the estimate.
func TestShownBlocksMeanIsTheEstimate(t *testing.T) {
	w := asking(with(plain().differ(2).leans(1), func(w *world) {
		w.params.Seal = judge.SealOrder // nothing is tested, so the directivity keeps the plain estimate
		w.stations[5].unknown = true
		w.silent = func(at place, _ string, _ int) bool { return at.station < at.block }
	}), fourKinds()...)
	entries, s := w.judgedAndShown(t)
	for i, e := range entries {
		var sum, weight float64
		for _, b := range s.of(i).blocks {
			sum += b.weight * *b.db
			weight += b.weight
		}
		require.InDelta(t, *e.EstimateDB, sum/weight, 2e-4) // rounding of both, and of the estimate's root
	}
	require.NotEqual(t, *entries[0].EstimateDB, *entries[1].EstimateDB, "one station has no place")
}

// The curve has the verdict's amplitude, direction and all-round value, and lies within its region.
func TestShownLobeIsTheVerdicts(t *testing.T) {
	for _, shape := range []string{"one-sided", "two-sided", "any"} {
		w := asking(with(plain().differ(1).leans(3), func(w *world) { w.blocks = 12 }), lobe(shape))
		if shape == "two-sided" {
			w.diffDB = func(at place) float64 { return 1 + 3*math.Cos(2*(at.deg-30)*math.Pi/180) }
		}
		entries, s := w.judgedAndShown(t)
		e := entries[0]
		require.Equal(t, "different", e.Verdict)
		require.Len(t, s.lobes, 72)
		mean, top := 0.0, math.Inf(-1)
		for i, l := range s.lobes {
			require.Equal(t, float64(5*i), l.deg)
			require.LessOrEqual(t, *l.low, l.fit)
			require.LessOrEqual(t, l.fit, *l.high)
			require.LessOrEqual(t, math.Max(*l.high-*e.AllRound, *e.AllRound-*l.low), *e.Lobe.SwingHighDB+0.25, "the all-round value moves with the lobe by less than that")
			mean += l.fit / 72
			top = max(top, l.fit)
			if shape != "any" && math.Abs(l.deg-*e.Lobe.TowardDeg) <= 2.5 {
				require.InDelta(t, *e.AllRound+*e.Lobe.AmplitudeDB, l.fit, 0.02) // cos of 5 degrees: 0.004 of 3 dB
			}
		}
		require.InDelta(t, *e.AllRound, mean, 1e-4)
		require.InDelta(t, *e.Lobe.AmplitudeDB, top-*e.AllRound, 0.4, shape) // "any" has a small second harmonic too
	}
}

// Naming the arms the other way round negates every difference, and turns a region's ends round, to the last bit.
func TestShownTurnsWithTheArms(t *testing.T) {
	for _, make := range []func() *world{patchy, func() *world { return asking(plain().leans(2), fourKinds()...) }} {
		_, one := make().judgedAndShown(t)
		_, other := with(make(), func(w *world) { w.swapped = true }).judgedAndShown(t)
		for i := range one.blocks {
			one.blocks[i].db = turned(one.blocks[i].db)
		}
		for i := range one.differences {
			one.differences[i].db = 0 - one.differences[i].db
		}
		for i, l := range one.lobes {
			one.lobes[i].fit, one.lobes[i].low, one.lobes[i].high = 0-l.fit, turned(l.high), turned(l.low)
		}
		for i, f := range one.fits {
			one.fits[i].cos, one.fits[i].sin = 0-f.cos, 0-f.sin
		}
		require.Equal(t, one, other)
	}
}

func turned(v *float64) *float64 {
	if v == nil {
		return nil
	}
	n := 0 - *v
	return &n
}
