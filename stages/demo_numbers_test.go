package stages

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
)

// shownNumbers are the figures of a verdict that TestDemoNumbersAgainstPlainCode calculates again.
type shownNumbers struct {
	Claim, Kind, Band string
	EstimateDB        *float64     `json:"estimate_db"`
	IntervalDB        *[2]*float64 `json:"interval_db"`
	P                 *float64
	PAdjusted         *float64     `json:"p_adjusted"`
	FamilySize        *int         `json:"family_size"`
	PRunning          *float64     `json:"p_running"`
	RunningDB         *[2]*float64 `json:"running_interval_db"`
	Beyond            *struct {
		IntervalDB *[2]*float64 `json:"interval_db"`
		P, Regions *float64
	}
	Naive *struct {
		SpotTP *float64 `json:"spot_t_p"`
	}
	PGate1      *float64 `json:"p_gate1"`
	PGate2      *float64 `json:"p_gate2"`
	FrontToBack *struct {
		AxisDeg    float64  `json:"axis_deg"`
		EstimateDB *float64 `json:"estimate_db"`
	} `json:"front_to_back"`
	Sectors []struct {
		FromDeg    float64  `json:"from_deg"`
		EstimateDB *float64 `json:"estimate_db"`
		Stations   int
	}
	Blocks, Stations, Regions, Receptions int
	BlocksPlanned                         int `json:"blocks_planned"`
	BlocksDropped                         int `json:"blocks_dropped"`
	Sessions                              []struct {
		Session, Blocks int
		EstimateDB      *float64 `json:"estimate_db"`
	}
}

// plainStation is what is used of a station: its bearing to 1 degree, if that is known to 20.
type plainStation struct {
	azimuth float64 // radians
	located bool
	region  string
}

// plainSums are what the numbers of a trial are made of at some offsets, by station and block and by block.
type plainSums struct {
	keys             [][2]int // block, station
	d, a             map[[2]int]float64
	m, dbar, w, g    []float64
	sumG, sumW, sumM float64
}

// only is the trial of some stations and of the blocks from one to before another.
func (p plainTrial) only(station func(int) bool, from, to int) plainTrial {
	out := plainTrial{blocks: to - from, cells: map[[2]int]*[2][]float64{}, when: map[int]*[2]float64{}}
	for _, key := range p.keys {
		if station(key[1]) && key[0] >= from && key[0] < to {
			moved := [2]int{key[0] - from, key[1]}
			out.keys = append(out.keys, moved)
			out.cells[moved] = p.cells[key]
		}
	}
	for b := from; b < to; b++ {
		out.when[b-from] = p.when[b]
	}
	return out
}

// sums are blockNumbers in full, for offsets that may depend on the station; past leaves the block after out of the drift.
func (p plainTrial) sums(offset func(station int) float64, cut, ceiling float64, past bool) plainSums {
	s := plainSums{keys: p.keys, d: map[[2]int]float64{}, a: map[[2]int]float64{}}
	middles := map[[2]int]float64{}
	for _, key := range p.keys {
		o := offset(key[1])
		least := cut + math.Max(0, -o)
		most := math.Max(ceiling-math.Max(0, o), least+12)
		mean, heard, share := [2]float64{least, least}, [2]bool{}, [2]float64{}
		for arm, shift := range []float64{o, 0} {
			total, n, below := 0.0, 0.0, 0.0
			for _, y := range p.cells[key][arm] {
				if z := y - shift; z > least {
					total, n = total+math.Min(z, most), n+1
					if z < most {
						below++
					}
				}
			}
			if n > 0 {
				mean[arm], heard[arm], share[arm] = total/n, true, below/n
			}
		}
		apart := mean[0] - mean[1]
		switch {
		case !heard[0] && !heard[1]:
			continue
		case heard[0] != heard[1] && math.Abs(apart) > 6:
			s.d[key], s.a[key] = math.Copysign(1.2, apart), 0.1
		default:
			s.d[key], s.a[key] = math.Max(-15, math.Min(15, apart)), (share[0]+share[1])/2
		}
		middles[key] = (mean[0] + mean[1]) / 2
	}
	middle := func(b int) float64 { return (p.when[b][0] + p.when[b][1]) / 2 }
	drift := make([]float64, p.blocks)
	for b := range drift {
		before, after := max(0, b-1), min(p.blocks-1, b+1)
		if past {
			after = b
		}
		fall, total := 0.0, 0.0
		for _, key := range p.keys {
			other := [2]int{after, key[1]}
			if key[0] != before || s.a[key] <= 0.1 || s.a[other] <= 0.1 {
				continue
			}
			fall += s.a[key] * s.a[other] * math.Max(-15, math.Min(15, middles[key]-middles[other]))
			total += s.a[key] * s.a[other]
		}
		if before < after {
			drift[b] = (p.when[b][1] - p.when[b][0]) * fall * total / (total*total + 100) / (middle(after) - middle(before))
		}
	}
	s.m, s.dbar = make([]float64, p.blocks), make([]float64, p.blocks)
	s.w, s.g = make([]float64, p.blocks), make([]float64, p.blocks)
	for _, key := range p.keys {
		s.d[key] -= s.a[key] * drift[key[0]]
		s.m[key[0]] += s.a[key]
		s.dbar[key[0]] += s.d[key]
	}
	for b, m := range s.m {
		if m > 0 {
			s.dbar[b] /= m
			s.w[b] = m / (m + 10)
			s.g[b] = s.w[b] * s.dbar[b]
		}
		s.sumG, s.sumW, s.sumM = s.sumG+s.g[b], s.sumW+s.w[b], s.sumM+m
	}
	return s
}

func everywhere(db float64) func(int) float64 { return func(int) float64 { return db } }

// near is sums for the test of one offset: the cut gives way to -21 dB where a tenth of the offset is under 0.02 dB, the
// ceiling where half of it, in the share of the weight that lags, is.
func (p plainTrial) near(db float64, past bool) plainSums {
	cut, ceiling := -18.0, 5.0
	lagging := 1 - p.sums(everywhere(0), -18, 5, false).sumM/p.sums(everywhere(0), -18, math.Inf(1), false).sumM
	if math.Abs(db)*0.1 < 0.02 {
		cut = -21
	}
	if math.Abs(db)*0.5*lagging < 0.02 {
		ceiling = math.Inf(1)
	}
	return p.sums(everywhere(db), cut, ceiling, past)
}

// zero finds where a falling function crosses 0.
func zero(f func(float64) float64) float64 {
	low, high := -30.0, 30.0
	for range 50 {
		if middle := (low + high) / 2; f(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

func (p plainTrial) root() float64 {
	return zero(func(db float64) float64 { return p.sums(everywhere(db), -18, 5, false).sumG })
}

// flips is the share of all ways to swap the arms in blocks whose sum is as far from 0.
func flips(g []float64) float64 {
	sums := []float64{0}
	for _, x := range g {
		more := make([]float64, 0, 2*len(sums))
		for _, s := range sums {
			more = append(more, s+x, s-x)
		}
		sums = more
	}
	asFar := 0
	for _, s := range sums {
		if math.Abs(s) >= math.Abs(sums[0])-1e-9 {
			asFar++
		}
	}
	return float64(asFar) / float64(len(sums))
}

// watched is 1 over the greatest mean of the products of 1 + tanh(bet * g).
func watched(g []float64) float64 {
	greatest := 1.0
	for n := range g {
		e := 0.0
		for _, size := range []float64{0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 6.4} {
			up, down := 1.0, 1.0
			for _, x := range g[:n+1] {
				up *= 1 + math.Tanh(size*x)
				down *= 1 - math.Tanh(size*x)
			}
			e += (up + down) / 14
		}
		greatest = math.Max(greatest, e)
	}
	return 1 / greatest
}

// plainStations reads the stations of a run.
func plainStations(t *testing.T, done *pipeline.Outcome) map[int]plainStation {
	rec, err := done.Table("stations")
	require.NoError(t, err)
	defer rec.Release()
	out := map[int]plainStation{}
	for r := table.NewReader(rec); r.Next(); {
		s := plainStation{region: r.Str("region")}
		if !r.Null("bearing_deg") && !r.Null("distance_km") {
			s.azimuth = math.Round(r.Float("bearing_deg")) * math.Pi / 180
			s.located = r.Float("position_radius_km") < math.Sin(20*math.Pi/180)*r.Float("distance_km")
		}
		out[int(r.Int("number"))] = s
	}
	return out
}

// The other numbers of the demo's verdicts, from tables receptions, dwells and stations by the plainest code: maps and loops,
// and the formulas of the method. What rests on drawn sign vectors is held within four standard errors of a share of 9999.
func TestDemoNumbersAgainstPlainCode(t *testing.T) {
	done := runDemo(t)
	rec, err := done.Table("verdicts")
	require.NoError(t, err)
	defer rec.Release()
	stations := plainStations(t, done)
	levels, lobes := 0, 0
	var ps, adjusted []float64
	for r := table.NewReader(rec); r.Next(); {
		var v shownNumbers
		require.NoError(t, json.Unmarshal([]byte(r.Str("detail")), &v))
		if v.Kind == "level" || v.Kind == "directivity" {
			require.Equal(t, 4, *v.FamilySize, "two claims on two bands")
			ps, adjusted = append(ps, *v.P), append(adjusted, *v.PAdjusted)
		}
		p := readPlain(t, done, v.Band)
		p = p.only(func(s int) bool { return stations[s].region != "own square" }, 0, p.blocks)
		switch v.Kind {
		case "level":
			levels++
			t.Run("interval "+v.Band, func(t *testing.T) { p.requireInterval(t, v) })
			t.Run("watched "+v.Band, func(t *testing.T) { p.requireWatched(t, v) })
			t.Run("beyond "+v.Band, func(t *testing.T) { p.requireBeyond(t, v, stations) })
			t.Run("naive "+v.Band, func(t *testing.T) { p.requireNaive(t, v) })
			t.Run("counts "+v.Band, func(t *testing.T) { p.requireCounts(t, v, stations) })
			t.Run("sessions "+v.Band, func(t *testing.T) {
				from := 0
				for _, s := range v.Sessions {
					require.InDelta(t, p.only(func(int) bool { return true }, from, from+s.Blocks).root(), *s.EstimateDB, 1e-3)
					from += s.Blocks
				}
				require.Equal(t, p.blocks, from)
			})
		case "directivity":
			lobes++
			flat := p.only(func(s int) bool { return stations[s].located }, 0, p.blocks)
			t.Run("sectors "+v.Band, func(t *testing.T) { flat.requireSectors(t, v, stations) })
			t.Run("front to back "+v.Band, func(t *testing.T) { flat.requireAxis(t, v, stations) })
			t.Run("gates "+v.Band, func(t *testing.T) { flat.requireGates(t, v, stations) })
			t.Run("counts "+v.Band, func(t *testing.T) { flat.requireCounts(t, v, stations) })
		}
	}
	require.Equal(t, [2]int{2, 2}, [2]int{levels, lobes})
	// Holm, A simple sequentially rejective multiple test procedure, Scandinavian Journal of Statistics 6, 1979: an adjusted p
	// is the greatest of (4 - smaller ones) p over all p up to it.
	require.Len(t, ps, 4)
	for i, p := range ps {
		want := 0.0
		for j, q := range ps {
			smaller := 0
			for k, r := range ps {
				if r < q || r == q && k < j {
					smaller++
				}
			}
			if q < p || q == p && j <= i {
				want = math.Max(want, math.Min(1, float64(4-smaller)*q))
			}
		}
		require.InDelta(t, want, adjusted[i], 5e-6)
	}
}

func fourErrors(p float64) float64 { return 4 * math.Sqrt(p*(1-p)/9999) }

func (p plainTrial) requireInterval(t *testing.T, v shownNumbers) {
	for i, outward := range []float64{-1, 1} {
		end := *v.IntervalDB[i]
		require.LessOrEqual(t, flips(p.near(end+0.01*outward, false).g), 0.05+fourErrors(0.05), "ruled out beyond the end")
		require.Greater(t, flips(p.near(end-0.03*outward, false).g), 0.05-fourErrors(0.05), "allowed within it")
	}
}

func (p plainTrial) requireWatched(t *testing.T, v shownNumbers) {
	require.InEpsilon(t, watched(p.near(0, true).g), math.Max(*v.PRunning, 1e-6), 1e-3, "rounded to 6 decimals")
	for i, outward := range []float64{-1, 1} {
		end := *v.RunningDB[i]
		require.LessOrEqual(t, watched(p.near(end+0.01*outward, true).g), 0.05)
		require.Greater(t, watched(p.near(end-0.03*outward, true).g), 0.05)
	}
}

func (p plainTrial) requireBeyond(t *testing.T, v shownNumbers, stations map[int]plainStation) {
	estimate := p.root()
	s := p.sums(everywhere(estimate), -18, 5, false)
	mean := s.sumG / s.sumW
	byBlock, byRegion, both, share := map[int]float64{}, map[string]float64{}, map[int]map[string]float64{}, map[string]float64{}
	for _, key := range s.keys {
		if s.a[key] == 0 {
			continue
		}
		b, region, scale := key[0], stations[key[1]].region, s.w[key[0]]/s.m[key[0]]
		psi := scale * (s.d[key] - s.a[key]*mean)
		if both[b] == nil {
			both[b] = map[string]float64{}
		}
		byBlock[b] += psi
		byRegion[region] += psi
		both[b][region] += psi
		share[region] += scale * s.a[key] / s.sumW
	}
	var vBlock, vRegion, vBoth, squares float64
	for b, x := range byBlock {
		vBlock += x * x
		for _, y := range both[b] {
			vBoth += y * y
		}
	}
	for region, x := range byRegion {
		vRegion += math.Pow(x/(1-math.Min(share[region], 0.9)), 2)
		squares += share[region] * share[region]
	}
	blocks, regions := float64(p.blocks), float64(len(byRegion))
	vBlock, vRegion = vBlock*blocks/(blocks-1), vRegion*(regions-1)/regions
	se := 1.15 * math.Sqrt(max(vBlock, vRegion, vBlock+vRegion-vBoth)) / s.sumW
	student := distuv.StudentsT{Sigma: 1, Nu: math.Max(1, math.Min(blocks, 1/squares)-1)}
	require.InDelta(t, 1/squares, *v.Beyond.Regions, 1e-3)
	require.InDelta(t, 2*student.CDF(-math.Abs(estimate)/se), *v.Beyond.P, 1e-4)
	require.InDelta(t, estimate-student.Quantile(0.975)*se-0.005, *v.Beyond.IntervalDB[0], 0.006, "outward to 0.01 dB")
	require.InDelta(t, estimate+student.Quantile(0.975)*se+0.005, *v.Beyond.IntervalDB[1], 0.006)
}

// requireNaive: reports are whole decibels, so the dither, of half a decibel at most, is rounded off again.
func (p plainTrial) requireNaive(t *testing.T, v shownNumbers) {
	var n, mean, variance [2]float64
	for arm := range n {
		var all []float64
		for _, key := range p.keys {
			for _, y := range p.cells[key][arm] {
				all = append(all, math.Round(y))
			}
		}
		for _, y := range all {
			mean[arm] += y / float64(len(all))
		}
		for _, y := range all {
			variance[arm] += (y - mean[arm]) * (y - mean[arm]) / float64(len(all)-1)
		}
		n[arm] = float64(len(all))
	}
	a, b := variance[0]/n[0], variance[1]/n[1]
	student := distuv.StudentsT{Sigma: 1, Nu: (a + b) * (a + b) / (a*a/(n[0]-1) + b*b/(n[1]-1))}
	want := math.Max(1e-6, 2*student.CDF(-math.Abs(mean[0]-mean[1])/math.Sqrt(a+b)))
	require.InDelta(t, want, *v.Naive.SpotTP, 1e-6)
}

func (p plainTrial) requireCounts(t *testing.T, v shownNumbers, stations map[int]plainStation) {
	reports, heard, regions := 0, map[int]bool{}, map[string]bool{}
	for _, key := range p.keys {
		reports += len(p.cells[key][0]) + len(p.cells[key][1])
	}
	s := p.sums(everywhere(0), -18, 5, false)
	for _, key := range s.keys {
		if s.a[key] > 0 {
			heard[key[1]] = true
		}
	}
	at := p.sums(everywhere(p.root()), -18, 5, false)
	for _, key := range at.keys {
		if at.a[key] > 0 {
			regions[stations[key[1]].region] = true
		}
	}
	require.Equal(t, [4]int{p.blocks, len(heard), len(regions), reports}, [4]int{v.Blocks, v.Stations, v.Regions, v.Receptions})
	dropped := map[string]int{"20m": 0, "10m": 1}[v.Band] // as datasets/ridge-wire/README.md tells
	require.Equal(t, [3]int{16 - dropped, 16, dropped}, [3]int{v.Blocks, v.BlocksPlanned, v.BlocksDropped})
}

func (p plainTrial) requireSectors(t *testing.T, v shownNumbers, stations map[int]plainStation) {
	require.Len(t, v.Sectors, 8)
	for i, sector := range v.Sectors {
		require.Equal(t, float64(45*i), sector.FromDeg)
		part := p.only(func(s int) bool { return int(math.Round(stations[s].azimuth*180/math.Pi))%360/45 == i }, 0, p.blocks)
		heard := map[int]bool{}
		s := part.sums(everywhere(0), -18, 5, false)
		for _, key := range s.keys {
			if s.a[key] > 0 {
				heard[key[1]] = true
			}
		}
		require.Equal(t, len(heard), sector.Stations)
		if sector.EstimateDB != nil {
			require.InDelta(t, part.root(), *sector.EstimateDB, 1e-3)
		}
	}
}

func (p plainTrial) requireAxis(t *testing.T, v shownNumbers, stations map[int]plainStation) {
	off := func(s int) float64 {
		return math.Abs(math.Remainder(math.Round(stations[s].azimuth*180/math.Pi)-v.FrontToBack.AxisDeg, 360))
	}
	part := p.only(func(s int) bool { return off(s) <= 60 || off(s) >= 120 }, 0, p.blocks)
	contrast := func(base, more float64) (back, front float64) {
		s := part.sums(func(r int) float64 {
			if off(r) <= 60 {
				return base + more
			}
			return base
		}, -18, 5, false)
		mf, mk, df, dk := map[int]float64{}, map[int]float64{}, map[int]float64{}, map[int]float64{}
		for _, key := range s.keys {
			if off(key[1]) <= 60 {
				mf[key[0]] += s.a[key]
				df[key[0]] += s.d[key]
			} else {
				mk[key[0]] += s.a[key]
				dk[key[0]] += s.d[key]
				back += s.d[key]
			}
		}
		for b := range part.blocks {
			if mf[b] > 0 && mk[b] > 0 {
				h := mf[b] * mk[b] / (mf[b] + mk[b])
				front += h / (h + 2) * (df[b]/mf[b] - dk[b]/mk[b])
			}
		}
		return back, front
	}
	base := zero(func(db float64) float64 { back, _ := contrast(db, 0); return back })
	require.InDelta(t, zero(func(db float64) float64 { _, front := contrast(base, db); return front }), *v.FrontToBack.EstimateDB, 2e-3)
}

// requireGates: the first over all sign vectors; the second is not less than the share of permutations of the regions' azimuths.
func (p plainTrial) requireGates(t *testing.T, v shownNumbers, stations map[int]plainStation) {
	s := p.sums(everywhere(p.root()), -18, 5, false)
	n := p.blocks
	column := func(station int) [2]float64 {
		sin, cos := math.Sincos(stations[station].azimuth)
		return [2]float64{cos, sin}
	}
	centre, u := make([][2]float64, n), make([][2]float64, n)
	for _, key := range s.keys {
		for i, x := range column(key[1]) {
			if s.m[key[0]] > 0 {
				centre[key[0]][i] += s.a[key] * x / s.m[key[0]]
			}
		}
	}
	var information, scatter [2][2]float64
	for _, key := range s.keys {
		x, b := column(key[1]), key[0]
		for i := range 2 {
			u[b][i] += (x[i] - centre[b][i]) * s.d[key] / (s.m[b] + 10)
			for j := range 2 {
				information[i][j] += s.a[key] * (x[i] - centre[b][i]) * (x[j] - centre[b][j]) / (s.m[b] + 10)
			}
		}
	}
	for b := range u {
		for i := range 2 {
			for j := range 2 {
				scatter[i][j] += u[b][i] * u[b][j]
			}
		}
	}
	more := (scatter[0][0] + scatter[1][1]) / (information[0][0] + information[1][1]) * 6 / float64(n)
	a, c, d := scatter[0][0]+more*information[0][0], scatter[0][1]+more*information[0][1], scatter[1][1]+more*information[1][1]
	form := func(x, y float64) float64 { return (d*x*x - 2*c*x*y + a*y*y) / (a*d - c*c) }
	sums := [][2]float64{{}}
	for _, x := range u {
		both := make([][2]float64, 0, 2*len(sums))
		for _, s := range sums {
			both = append(both, [2]float64{s[0] + x[0], s[1] + x[1]}, [2]float64{s[0] - x[0], s[1] - x[1]})
		}
		sums = both
	}
	asGreat := 0
	for _, x := range sums {
		if form(x[0], x[1]) >= form(sums[0][0], sums[0][1])*(1-1e-9) {
			asGreat++
		}
	}
	p1 := float64(asGreat) / float64(len(sums))
	require.InDelta(t, p1, *v.PGate1, fourErrors(p1)+1e-4)

	type mean struct{ den, e, cos, sin float64 }
	by := map[string]*mean{}
	var names []string
	for _, key := range s.keys {
		if s.a[key] == 0 {
			continue
		}
		region := stations[key[1]].region
		if by[region] == nil {
			by[region] = &mean{}
			names = append(names, region)
		}
		x, m := column(key[1]), by[region]
		m.den += s.a[key]
		m.e += s.d[key] - s.a[key]*s.dbar[key[0]]
		m.cos += s.a[key] * x[0]
		m.sin += s.a[key] * x[1]
	}
	var weights []float64
	for _, name := range names {
		weights = append(weights, by[name].den)
	}
	sort.Float64s(weights)
	middle := (weights[(len(weights)-1)/2] + weights[len(weights)/2]) / 2
	lineUp := func(order []int) float64 { // the weighted regression on the azimuth of the region in that place
		var q, e, x, y []float64
		for j, name := range names {
			m, from := by[name], by[names[order[j]]]
			q, e = append(q, m.den/(m.den+middle)), append(e, m.e/(m.den+2))
			length := math.Hypot(from.cos, from.sin)
			x, y = append(x, from.cos/length), append(y, from.sin/length)
		}
		total, me, mx, my := 0.0, 0.0, 0.0, 0.0
		for j := range q {
			total, me, mx, my = total+q[j], me+q[j]*e[j], mx+q[j]*x[j], my+q[j]*y[j]
		}
		me, mx, my = me/total, mx/total, my/total
		var xx, xy, yy, xe, ye float64
		for j := range q {
			xx += q[j] * (x[j] - mx) * (x[j] - mx)
			xy += q[j] * (x[j] - mx) * (y[j] - my)
			yy += q[j] * (y[j] - my) * (y[j] - my)
			xe += q[j] * (x[j] - mx) * (e[j] - me)
			ye += q[j] * (y[j] - my) * (e[j] - me)
		}
		return (yy*xe*xe - 2*xy*xe*ye + xx*ye*ye) / (xx*yy - xy*xy)
	}
	order := make([]int, len(names))
	for i := range order {
		order[i] = i
	}
	observed, count := lineUp(order), 1
	const drawn = 1999
	random := rand.New(rand.NewPCG(1, 2))
	for range drawn {
		random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		if lineUp(order) >= observed {
			count++
		}
	}
	p2 := float64(count) / (drawn + 1)
	require.GreaterOrEqual(t, *v.PGate2, p2-4*math.Sqrt(p2*(1-p2)*(1./999+1./drawn))-1e-3)
}
