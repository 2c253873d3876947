package contrast

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// The power of the tests is held against the method's own simulations, in bands like theirs. Both tests run few trials and log
// their figures; enough of them to quote:
//
//	go test ./stages/internal/contrast -run 'TestPower|TestBands' -v -powertrials 1000
var powerTrials = flag.Int("powertrials", 0, "how many trials each power is counted over; 0: as many as are quick")

func quickTrials() int {
	switch {
	case *powerTrials > 0:
		return *powerTrials
	case testing.Short(): // the race detector looks at the code, not at the figures
		return 10
	}
	return 100
}

// band is an invented trial on a band with a life of its own: what field leaves out, each part of it to be switched on.
type band struct {
	stations, blocks     int
	meanDB               float64 // mean level of arm B at a receiver
	driftSD              float64 // of what all receivers share, in each dwell anew
	dwellSD              float64 // of what one receiver has to itself, in each dwell anew
	lost                 float64 // share of the decoded transmissions that don't come through as reports
	openingDB            float64 // of a lobe that both arms have, and that turns once round in the session
	clustered            float64 // share of the receivers that lie within 60 degrees; the others are spread evenly
	noiseSteps           float64 // chance that the noise of a receiver steps before a dwell
	unequal              float64 // a receiver listens to a share u^unequal of the slots, u uniform
	throttled            float64 // share of the receivers that report once in throttleSlots at most
	receiverSD, regionSD float64 // of a difference of each receiver's, and of each region's, own
}

const (
	dwellSlots    = 6
	levelSD       = 7.5   // dB, between receivers
	fadingSD      = 2.7   // dB, of one receiver from slot to slot
	decodedDB     = -21.0 // where half the transmissions are decoded
	decodedSD     = 0.7   // dB, of that between receivers, and again between slots
	noiseSD       = 4.0   // dB, of a noise level between its steps
	throttleSlots = 8
)

// scenario is a band with what the simulations of the method say of it; 0: nothing.
type scenario struct {
	name string
	band band
	// Share of the slots heard (table 4) where A-B is heardAtDB; standard deviations of one block (table 9).
	heard, heardAtDB, sigmaD, sigmaPhi float64
	// Power at 5 % (table 3) for 1.5 dB at every receiver, and of both gates for a lobe of 3 dB.
	level, gates float64
}

// scenarios are those of the method's simulations. What they don't say (how much of the noise is whose) is chosen so that
// the rest comes out: see TestBands.
func scenarios() []scenario {
	plain := band{stations: 60, blocks: 16, meanDB: -8.7, driftSD: 0.33, dwellSD: 2.5, lost: 0.06}
	opening := plain
	opening.driftSD, opening.openingDB = 0.93, 10.4
	heavy := plain
	heavy.meanDB, heavy.dwellSD = -20, 2.9 // weak signals fade more
	short := plain
	short.blocks = 8
	few := short
	few.stations = 10
	busy := plain
	busy.unequal, busy.throttled = 1.2, 0.6
	everything := plain
	everything.driftSD, everything.openingDB, everything.clustered = 0.8, 10.6, 0.65
	everything.noiseSteps, everything.unequal, everything.throttled = 0.1, 0.3, 0.2
	return []scenario{
		{"plain", plain, 0.886, 2.4, 0.71, 0.76, 1, 1},
		{"directional opening", opening, 0, 0, 1.46, 1.57, 0.967, 1},
		{"heavy censoring", heavy, 0.602, 4.4, 0.93, 0.97, 1, 0.99},
		{"8 blocks", short, 0.886, 2.4, 0, 0, 1, 0.99},
		{"8 blocks, 10 receivers", few, 0.886, 2.4, 1.45, 2.14, 0.76, 0.71},
		{"unequal activity, throttled", busy, 0, 0, 0, 0, 0.993, 0.977},
		{"everything", everything, 0.53, 2.4, 1.70, 1.95, 0.90, 0.967},
	}
}

// The bands are as noisy, and as often heard, as those of the method's simulations.
func TestBands(t *testing.T) {
	for _, s := range scenarios() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			var heard, sigmaD, sigmaPhi []float64
			for i := range quickTrials() {
				seed := uint64(30000 + i)
				slots := s.band.stations * s.band.blocks * 2 * dwellSlots
				heard = append(heard, float64(s.band.trial(seed, constant(s.heardAtDB)).receptions())/float64(slots))
				stations, reports := s.band.draw(seed, constant(0))
				trial := must(t, stations, reports, Params{Blocks: s.band.blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: seed})
				_, d, ok := trial.Estimate()
				require.True(t, ok)
				score := trial.newScore(OneSided)
				score.fit(fitRounds)
				sigmaD, sigmaPhi = append(sigmaD, d), append(sigmaPhi, score.sigmaPhi())
			}
			requireAbout(t, "slots heard", s.heard, heard)
			requireAbout(t, "sigma_D", s.sigmaD, sigmaD)
			requireAbout(t, "sigma_phi", s.sigmaPhi, sigmaPhi)
		})
	}
}

// requireAbout holds the mean of the values to 5 % of what is wanted, and three of its standard errors; 0: it is logged alone.
func requireAbout(t *testing.T, what string, want float64, values []float64) {
	t.Helper()
	mean, sd := stat.MeanStdDev(values, nil)
	se := stat.StdErr(sd, float64(len(values)))
	t.Logf("%s: wanted %.3f, got %.3f +- %.3f", what, want, mean, se)
	if want > 0 {
		require.InDelta(t, want, mean, 0.05*want+3*se, what)
	}
}

// The tests find as much as in the method's simulations (its table 3: columns "O6 flip recens." and "N7 two gates", 300 trials
// each). Half of each effect is counted too: there one sees what a change of the method gains or loses.
func TestPower(t *testing.T) {
	const delta, amplitude = 1.5, 3.0
	for _, s := range scenarios() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			n := quickTrials()
			level, levelHalf := s.band.levelPower(n, delta), s.band.levelPower(n, delta/2)
			gates, gatesHalf := s.band.gatesPower(n, amplitude), s.band.gatesPower(n, amplitude/2)
			t.Logf("found in %d: %g dB %d, %g dB %d; a lobe of %g dB %d, of %g dB %d",
				n, delta, level, delta/2, levelHalf, amplitude, gates, amplitude/2, gatesHalf)
			requirePower(t, "level", s.level, level, n)
			requirePower(t, "both gates", s.gates, gates, n)
		})
	}
}

// The gates of the other two shapes, of which the method's simulations say nothing: how often they open where there is a
// difference but no lobe, where receivers and regions differ, and for lobes of their own shape. What may not open more often
// than its level: gate 1 where only the level differs, both together where receivers differ too.
func TestOtherShapes(t *testing.T) {
	two := func(s Station) float64 { return 3 * math.Cos(2*s.AzimuthRad-math.Pi/3) }
	both := func(s Station) float64 { return two(s)/2 + lobe60(1.5)(s) }
	for _, shape := range []struct {
		name  string
		shape Shape
		lobes func(Station) float64
	}{{"two-sided", TwoSided, two}, {"any", Any, both}} {
		for _, s := range scenarios() {
			t.Run(shape.name+"/"+s.name, func(t *testing.T) {
				t.Parallel()
				n := max(*powerTrials, quickTrials()/3)
				uneven := s.band
				uneven.receiverSD, uneven.regionSD = 1, 1
				level := s.band.opened(n, shape.shape, constant(1.5))
				regions := uneven.opened(n, shape.shape, constant(1.5))
				lobes := s.band.opened(n, shape.shape, shape.lobes)
				t.Logf("opened in %d, gate 1 and both at 5 %%, at 1 %%: level %v, receivers and regions %v, lobes of 3 dB %v", n, level, regions, lobes)
				require.LessOrEqual(t, level.gate1[0], binomialBound(n, 0.05, 0.999))
				require.LessOrEqual(t, level.gate1[1], binomialBound(n, 0.01, 0.999))
				at5, at1 := 0.05, 0.01
				if s.band.openingDB > 0 { // where the second part of gate 2 is approximate, see sources
					at5, at1 = 0.08, 0.03
				}
				require.LessOrEqual(t, regions.both[0], binomialBound(n, at5, 0.999))
				require.LessOrEqual(t, regions.both[1], binomialBound(n, at1, 0.999))
			})
		}
	}
}

// opened counts at 5 % and at 1 %.
type opened struct{ gate1, both [2]int }

func (b band) opened(n int, shape Shape, effect func(Station) float64) opened {
	var o opened
	for i := range n {
		gates, _ := b.trial(uint64(60000+i), effect).gates(shape)
		for k, alpha := range []float64{0.05, 0.01} {
			if gates.Gate1 <= alpha {
				o.gate1[k]++
			}
			if gates.P <= alpha {
				o.both[k]++
			}
		}
	}
	return o
}

// requirePower fails if more effects were missed than the 99.9 % bound of the share that the simulations missed, to which two
// of its standard errors are added. If they missed none of 300, that limit is 3 of 300 (the rule of three).
func requirePower(t *testing.T, what string, want float64, found, n int) {
	t.Helper()
	missed := max(1-want+float64(2*math.Sqrt(want*(1-want)/300)), 3./300)
	require.LessOrEqual(t, n-found, binomialBound(n, missed, 0.999), "%s: found in %d of %d, where %.3f is known", what, found, n, want)
}

// levelPower counts the trials in which no difference is ruled out.
func (b band) levelPower(n int, deltaDB float64) int {
	found := 0
	for i := range n {
		if b.trial(uint64(40000+i), constant(deltaDB)).PAt(0) <= Alpha {
			found++
		}
	}
	return found
}

// gatesPower counts the trials in which both gates open.
func (b band) gatesPower(n int, amplitudeDB float64) int {
	found := 0
	for i := range n {
		if gates, _ := b.trial(uint64(50000+i), lobe60(amplitudeDB)).gates(OneSided); gates.P <= Alpha {
			found++
		}
	}
	return found
}

// lobe60 is a lobe toward 60 degrees.
func lobe60(amplitudeDB float64) func(Station) float64 {
	return func(s Station) float64 { return amplitudeDB * math.Cos(s.AzimuthRad-math.Pi/3) }
}

// trial is one trial of the band in which A-B is effect, with a ceiling and the times of the dwells, as the judge gives them.
func (b band) trial(seed uint64, effect func(Station) float64) *Trial {
	stations, reports := b.draw(seed, effect)
	t, err := New(stations, reports, Params{
		Blocks: b.blocks, CutDB: -18, DecodedDB: -18 - SoftDB, CeilingDB: LaggingDB,
		Seed: seed, When: dwellTimes(b.blocks, dwellSlots, reports)})
	if err != nil {
		panic(err)
	}
	return t
}

func (b band) draw(seed uint64, effect func(Station) float64) ([]Station, []Report) {
	r := rand.New(rand.NewPCG(seed, 78))
	receivers, stations := b.receivers(r)
	opening := r.Float64() * 2 * math.Pi
	turn := 2 * math.Pi / float64(2*b.blocks*dwellSlots)
	var reports []Report
	for block := range b.blocks {
		swapped := r.IntN(2) == 1
		for dwell := range 2 {
			first := (dwell == 0) != swapped
			drift := b.driftSD * r.NormFloat64()
			for i := range receivers {
				rx := &receivers[i]
				if r.Float64() < b.noiseSteps {
					rx.noiseDB = noiseSD * r.NormFloat64()
				}
				level := rx.levelDB - rx.noiseDB + drift + float64(b.dwellSD*r.NormFloat64())
				if first {
					level += effect(rx.Station) + rx.ownDB
				}
				for k := range dwellSlots {
					slot := (2*block+dwell)*dwellSlots + k
					toward := opening + float64(turn*float64(slot))
					y := level + float64(b.openingDB*math.Cos(rx.AzimuthRad-toward)) + float64(fadingSD*r.NormFloat64())
					if rx.reports(r, slot, y) && r.Float64() >= b.lost {
						reports = append(reports, Report{block, i, first, int64(slot), math.Round(y) + r.Float64() - 0.5})
					}
				}
			}
		}
	}
	return stations, reports
}

// receiver is one receiver of a band.
type receiver struct {
	Station
	levelDB, decodedDB, noiseDB float64
	ownDB                       float64 // what it adds to the difference
	listens                     float64 // share of the slots
	throttled                   bool
	free                        int // the first slot in which it may report again
}

func (b band) receivers(r *rand.Rand) ([]receiver, []Station) {
	var regions [36]float64
	for i := range regions {
		regions[i] = b.regionSD * r.NormFloat64()
	}
	centre := r.Float64() * 2 * math.Pi
	receivers, stations := make([]receiver, b.stations), make([]Station, b.stations)
	for i := range receivers {
		az := r.Float64() * 2 * math.Pi
		if r.Float64() < b.clustered {
			az = centre + float64((r.Float64()-0.5)*math.Pi/3)
		}
		s := Station{AzimuthRad: az, HasAzimuth: true, Region: int(degrees(az)/30)*3 + r.IntN(3)}
		rx := receiver{
			Station: s, levelDB: b.meanDB + float64(levelSD*r.NormFloat64()), decodedDB: decodedDB + float64(decodedSD*r.NormFloat64()),
			ownDB: regions[s.Region] + float64(b.receiverSD*r.NormFloat64()), listens: math.Pow(r.Float64(), b.unequal),
			throttled: r.Float64() < b.throttled,
		}
		if rx.throttled {
			rx.free = r.IntN(throttleSlots)
		}
		receivers[i], stations[i] = rx, s
	}
	return receivers, stations
}

// reports tells whether a transmission of level y is listened to, decoded and reported.
func (rx *receiver) reports(r *rand.Rand, slot int, y float64) bool {
	listens, decoded := r.Float64() < rx.listens, y > rx.decodedDB+float64(decodedSD*r.NormFloat64())
	if !listens || !decoded || slot < rx.free {
		return false
	}
	if rx.throttled {
		rx.free = slot + throttleSlots
	}
	return true
}
