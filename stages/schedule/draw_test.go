package schedule

import (
	"bytes"
	"math"
	"math/big"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const minute = 60_000

func at(text string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		panic(err)
	}
	return t
}

func smallPlan() Plan {
	return Plan{
		Seed: 4012558071, Arms: []string{"low", "high"}, Bands: []string{"20m", "10m"},
		DwellMs: 6 * minute, SettleMs: minute / 2, ArmChangeMs: 3 * minute, BandChangeMs: minute, SlotMs: 15_000,
		Pattern: Pairs, Rotate: BandsWithinArm, Breaks: []Break{{AfterBlock: 2, LengthMs: 20 * minute}},
		Sessions: []Session{
			{StartMs: at("2026-09-12T04:00:00Z").UnixMilli(), Blocks: 3},
			{StartMs: at("2026-09-13T04:00:00Z").UnixMilli(), Blocks: 2},
		},
	}
}

func draw(t interface {
	require.TestingT
	Helper()
}, p Plan) []Dwell {
	t.Helper()
	dwells, err := Draw(p)
	require.NoError(t, err)
	return dwells
}

// byHand follows the recurrence of the package's documentation in whole numbers of any size.
type byHand struct{ state *big.Int }

func number(text string) *big.Int {
	n, ok := new(big.Int).SetString(text, 10)
	if !ok {
		panic(text)
	}
	return n
}

func (b *byHand) next() *big.Int {
	two64 := new(big.Int).Lsh(big.NewInt(1), 64)
	two128 := new(big.Int).Lsh(big.NewInt(1), 128)
	b.state.Mul(b.state, number("47026247687942121848144207491837523525"))
	b.state.Add(b.state, number("117397592171526113268558934119004209487"))
	b.state.Mod(b.state, two128)
	hi, lo := new(big.Int).DivMod(b.state, two64, new(big.Int))
	hi.Xor(hi, new(big.Int).Rsh(hi, 32))
	hi.Mul(hi, number("15750249268501108917")).Mod(hi, two64)
	hi.Xor(hi, new(big.Int).Rsh(hi, 48))
	return hi.Mul(hi, lo.Or(lo, big.NewInt(1))).Mod(hi, two64)
}

func (b *byHand) order(arms []string) []string {
	two64 := new(big.Int).Lsh(big.NewInt(1), 64)
	out := slices.Clone(arms)
	for i := len(arms) - 1; i >= 1; i-- {
		n := big.NewInt(int64(i + 1))
		reject := new(big.Int).Mod(two64, n)
		j, low := new(big.Int), new(big.Int)
		for {
			j.DivMod(new(big.Int).Mul(b.next(), n), two64, low)
			if low.Cmp(reject) >= 0 {
				break
			}
		}
		out[i], out[j.Int64()] = out[j.Int64()], out[i]
	}
	return out
}

func startByHand(seed uint64) *byHand {
	state := new(big.Int).Lsh(new(big.Int).SetUint64(seed), 64)
	return &byHand{state.Add(state, number("17277971518444509036"))}
}

func orders(dwells []Dwell) [][]string {
	var out [][]string
	for _, group := range Blocks(dwells) {
		var arms []string
		for _, i := range group {
			arms = append(arms, dwells[i].Arm)
		}
		out = append(out, arms)
	}
	return out
}

func TestDrawCanBeRedoneByHand(t *testing.T) {
	for _, arms := range [][]string{{"a", "b"}, {"a", "b", "c"}, {"a", "b", "c", "d", "e", "f", "g"}} {
		for _, seed := range []uint64{0, 1, 4012558071, math.MaxUint64} {
			p := smallPlan()
			p.Seed, p.Arms, p.Rotate = seed, arms, ArmsWithinBand
			hand := startByHand(seed)
			for n, got := range orders(draw(t, p)) {
				assert.Equal(t, hand.order(arms), got, "seed %d, block %d", seed, n)
			}
		}
	}
}

func TestTwoArmsTakeTheTopBit(t *testing.T) {
	p := smallPlan()
	p.Sessions[0].Blocks = 64
	p.Bands = p.Bands[:1]
	hand := startByHand(p.Seed)
	for _, got := range orders(draw(t, p)) {
		want := []string{"high", "low"}
		if hand.next().Bit(63) == 1 {
			want = []string{"low", "high"}
		}
		assert.Equal(t, want, got)
	}
}

func TestOneDrawServesAllBandsWithinAnArm(t *testing.T) {
	p := smallPlan()
	shared := orders(draw(t, p))
	for i := 0; i < len(shared); i += 2 {
		assert.Equal(t, shared[i], shared[i+1], "the bands of a block share one coin")
	}
	p.Bands = p.Bands[:1]
	single := orders(draw(t, p))
	for i := range single {
		assert.Equal(t, single[i], shared[2*i], "the coins do not depend on the number of bands")
	}
}

// A fair coin over 20000 seeds: five standard deviations are 5*sqrt(20000)/2 = 354.
func TestCoinIsFairOverSeeds(t *testing.T) {
	p := smallPlan()
	p.Bands, p.Sessions = p.Bands[:1], []Session{{StartMs: 0, Blocks: 2}}
	const seeds, bound = 20_000, 354
	var first, same int
	for seed := range uint64(seeds) {
		p.Seed = seed
		o := orders(draw(t, p))
		if o[0][0] == "low" {
			first++
		}
		if o[0][0] == o[1][0] {
			same++
		}
	}
	assert.InDelta(t, seeds/2, first, bound, "first block")
	assert.InDelta(t, seeds/2, same, bound, "second block against the first")
}

// Six orders of three arms over 12000 seeds: 2000 each, sd = sqrt(12000*1/6*5/6) = 41; five of them.
func TestEveryOrderOfThreeIsAsLikely(t *testing.T) {
	p := smallPlan()
	p.Arms, p.Bands, p.Sessions = []string{"a", "b", "c"}, p.Bands[:1], []Session{{Blocks: 1}}
	count := map[string]int{}
	for seed := range uint64(12_000) {
		p.Seed = seed
		o := orders(draw(t, p))[0]
		count[o[0]+o[1]+o[2]]++
	}
	require.Len(t, count, 6)
	for order, n := range count {
		assert.InDelta(t, 2000, n, 205, order)
	}
}

func TestGoldenSchedule(t *testing.T) {
	want, err := os.ReadFile("testdata/small.csv")
	require.NoError(t, err)
	var got bytes.Buffer
	require.NoError(t, WriteCSV(&got, draw(t, smallPlan())))
	assert.Equal(t, string(want), got.String())
}

// starts gives the minutes after the first start at which the dwells begin.
func starts(dwells []Dwell) []float64 {
	var out []float64
	for _, d := range dwells {
		out = append(out, d.Start.Sub(dwells[0].Start).Minutes())
	}
	return out
}

func TestTimeline(t *testing.T) {
	one := []string{"20m"}
	two := []string{"20m", "10m"}
	for _, c := range []struct {
		reason          string
		pattern, rotate string
		bands           []string
		armMin, bandMin int64
		breaks          []Break
		want            []float64 // two blocks, dwells of 6 min
	}{
		{"one band: arm change between dwells and blocks", Pairs, BandsWithinArm, one, 3, 1, nil, []float64{0, 9, 18, 27}},
		{"one band takes turns in one way only", Pairs, ArmsWithinBand, one, 3, 5, nil, []float64{0, 9, 18, 27}},
		{"A20 A10 B20 B10", Pairs, BandsWithinArm, two, 3, 1, nil, []float64{0, 7, 16, 23, 32, 39, 48, 55}},
		{"a band change longer than the arm change", Pairs, BandsWithinArm, two, 0, 2, nil, []float64{0, 8, 16, 24, 32, 40, 48, 56}},
		{"A20 B20 A10 B10", Pairs, ArmsWithinBand, two, 3, 5, nil, []float64{0, 9, 20, 29, 40, 49, 60, 69}},
		{"no change in the middle of A B B A", Mirrored, BandsWithinArm, one, 3, 1, nil, []float64{0, 9, 15, 24, 33, 42, 48, 57}},
		{"the bands begin again in the middle", Mirrored, BandsWithinArm, two, 3, 1, nil,
			[]float64{0, 7, 16, 23, 30, 37, 46, 53, 62, 69, 78, 85, 92, 99, 108, 115}},
		{"no change in the middle on each band", Mirrored, ArmsWithinBand, two, 3, 1, nil,
			[]float64{0, 9, 15, 24, 33, 42, 48, 57, 66, 75, 81, 90, 99, 108, 114, 123}},
		{"a break takes the place of the change", Pairs, BandsWithinArm, one, 3, 1, []Break{{1, 20 * minute}}, []float64{0, 9, 35, 44}},
		{"a break shorter than the change", Pairs, BandsWithinArm, one, 3, 1, []Break{{1, minute}}, []float64{0, 9, 18, 27}},
		{"no break after the last block", Pairs, BandsWithinArm, one, 3, 1, []Break{{2, 20 * minute}}, []float64{0, 9, 18, 27}},
		{"a switch needs no time", Pairs, BandsWithinArm, one, 0, 0, nil, []float64{0, 6, 12, 18}},
	} {
		t.Run(c.reason, func(t *testing.T) {
			p := smallPlan()
			p.Pattern, p.Rotate, p.Bands, p.Breaks = c.pattern, c.rotate, c.bands, c.breaks
			p.ArmChangeMs, p.BandChangeMs = c.armMin*minute, c.bandMin*minute
			p.Sessions = []Session{{StartMs: at("2026-09-12T04:00:00Z").UnixMilli(), Blocks: 2}}
			assert.Equal(t, c.want, starts(draw(t, p)))
		})
	}
}

func TestMirroredBlockIsItsOwnMirror(t *testing.T) {
	p := smallPlan()
	p.Pattern, p.Arms = Mirrored, []string{"a", "b", "c"}
	for _, o := range orders(draw(t, p)) {
		back := slices.Clone(o)
		slices.Reverse(back)
		assert.Equal(t, o, back)
	}
}

func TestDwellsStartOnSlotEdges(t *testing.T) {
	p := smallPlan()
	p.SlotMs, p.Bands, p.Breaks = 120_000, p.Bands[:1], nil
	p.Sessions = []Session{{StartMs: at("2028-02-29T23:49:00Z").UnixMilli(), Blocks: 2}}
	var got []string
	for _, d := range draw(t, p) {
		got = append(got, stamp(d.Start))
	}
	want := []string{"2028-02-29T23:50:00Z", "2028-03-01T00:00:00Z", "2028-03-01T00:10:00Z", "2028-03-01T00:20:00Z"}
	assert.Equal(t, want, got, "6 + 3 min move up to 10 min; the leap day ends in between")
}

func TestDrawRefuses(t *testing.T) {
	for _, c := range []struct {
		want   string
		change func(*Plan)
	}{
		{"no arm is named", func(p *Plan) { p.Arms = nil }},
		{"no band is named", func(p *Plan) { p.Bands = nil }},
		{"no session is named", func(p *Plan) { p.Sessions = nil }},
		{"an arm is named twice", func(p *Plan) { p.Arms = []string{"a", "b", "a"} }},
		{"a band is named twice", func(p *Plan) { p.Bands = []string{"20m", "20m"} }},
		{`pattern "pair" is neither`, func(p *Plan) { p.Pattern = "pair" }},
		{`rotate "" is neither`, func(p *Plan) { p.Rotate = "" }},
		{"slots of 47000 ms do not divide the day", func(p *Plan) { p.SlotMs = 47_000 }},
		{"slots of 0 ms", func(p *Plan) { p.SlotMs = 0 }},
		{"a dwell of 0 ms", func(p *Plan) { p.DwellMs = 0 }},
		{"leaves nothing of a dwell", func(p *Plan) { p.SettleMs = p.DwellMs }},
		{"an arm change of -1 ms", func(p *Plan) { p.ArmChangeMs = -1 }},
		{"a band change of -1 ms", func(p *Plan) { p.BandChangeMs = -1 }},
		{"a break of 1 ms after block 0", func(p *Plan) { p.Breaks = []Break{{0, 1}} }},
		{"session 2 has 0 blocks", func(p *Plan) { p.Sessions[1].Blocks = 0 }},
		{"session 1 does not start between", func(p *Plan) { p.Sessions[0].StartMs = math.MaxInt64 }},
		{"more than 50000 dwells", func(p *Plan) { p.Sessions[1].Blocks = math.MaxInt }},
		{"session 1 lasts past 2026-09-12T05:00:00Z, when session 2 begins", func(p *Plan) { p.Sessions[1].StartMs = p.Sessions[0].StartMs + 60*minute }},
	} {
		t.Run(c.want, func(t *testing.T) {
			p := smallPlan()
			c.change(&p)
			_, err := Draw(p)
			assert.ErrorContains(t, err, c.want)
		})
	}
}

func anyPlan(t *rapid.T) Plan {
	names := []string{"a", "b", "c", "d", "e"}
	bands := []string{"40m", "20m", "10m"}
	p := Plan{
		Seed:         rapid.Uint64().Draw(t, "seed"),
		Arms:         names[:rapid.IntRange(1, len(names)).Draw(t, "arms")],
		Bands:        bands[:rapid.IntRange(1, len(bands)).Draw(t, "bands")],
		SlotMs:       rapid.SampledFrom([]int64{7_500, 15_000, 60_000, 120_000, 900_000}).Draw(t, "slot"),
		ArmChangeMs:  rapid.Int64Range(0, 10*minute).Draw(t, "arm change"),
		BandChangeMs: rapid.Int64Range(0, 10*minute).Draw(t, "band change"),
		Pattern:      rapid.SampledFrom([]string{Pairs, Mirrored}).Draw(t, "pattern"),
		Rotate:       rapid.SampledFrom([]string{BandsWithinArm, ArmsWithinBand}).Draw(t, "rotate"),
		Breaks:       []Break{{rapid.IntRange(1, 4).Draw(t, "after"), rapid.Int64Range(0, 30*minute).Draw(t, "break")}},
	}
	p.DwellMs = p.SlotMs * rapid.Int64Range(3, 20).Draw(t, "slots")
	p.SettleMs = rapid.Int64Range(0, p.DwellMs-1).Draw(t, "settle")
	start := rapid.Int64Range(0, 4e12).Draw(t, "start")
	for range rapid.IntRange(1, 3).Draw(t, "sessions") {
		p.Sessions = append(p.Sessions, Session{StartMs: start, Blocks: rapid.IntRange(1, 6).Draw(t, "blocks")})
		start += 60 * dayMs
	}
	return p
}

func TestAnyPlanGivesAScheduleThatReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlan(t)
		dwells := draw(t, p)
		var file bytes.Buffer
		require.NoError(t, WriteCSV(&file, dwells))
		back, list := ReadCSV(&file, "schedule.csv", 0)
		require.Empty(t, list, "every block holds each arm equally often, no overlap, no holes")
		assert.Equal(t, dwells, back)
	})
}

func TestClockDoesNotDependOnTheDraw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyPlan(t)
		one := draw(t, p)
		p.Seed = rapid.Uint64().Draw(t, "other seed")
		other := draw(t, p)
		require.Len(t, other, len(one))
		for i := range one {
			one[i].Arm, other[i].Arm = "", ""
		}
		assert.Equal(t, one, other)
	})
}

func BenchmarkDraw(b *testing.B) {
	p := smallPlan()
	p.Sessions = []Session{{StartMs: 0, Blocks: 500}}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Draw(p); err != nil {
			b.Fatal(err)
		}
	}
}
