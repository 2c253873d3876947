package contrast

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// Twenty stations in four regions of 2, 4, 6 and 8, ten blocks, nothing censored and no drift. The second test by the plainest code, from
// the formulas of Cameron, Gelbach and Miller (Robust inference with multiway clustering, Journal of Business & Economic
// Statistics 29, 2011) with the factors that package contrast states: psi = w/m (D - mean), clustered by block and by region.
func TestBeyondByPlainCode(t *testing.T) {
	const blocks = 10
	sizes := []int{2, 4, 6, 8}
	var stations []Station
	for region, n := range sizes {
		for range n {
			stations = append(stations, Station{Region: region})
		}
	}
	difference := func(b, s int) float64 { // regions of -1.5 to 3 dB, blocks of +-0.8, and a part of each station's own
		return 1 + 1.5*float64(stations[s].Region-1) + 0.8*float64(1-2*(b%2)) + 0.3*float64((7*s+3*b)%5-2)
	}
	var reports []Report
	for b := range blocks {
		for s := range stations {
			reports = append(reports, Report{b, s, true, 0, 20 + difference(b, s)}, Report{b, s, false, 1, 20})
		}
	}
	l := must(t, stations, reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Level()

	mean := 0.0
	for b := range blocks {
		for s := range stations {
			mean += difference(b, s) / float64(blocks*len(stations))
		}
	}
	var both [blocks][4]float64
	for b := range blocks {
		for s, st := range stations {
			both[b][st.Region] += (difference(b, s) - mean) / 30 // w/m = 1/(20 + 10)
		}
	}
	var byBlock, byRegion, byBoth, squares float64
	for b := range blocks {
		sum := 0.0
		for _, x := range both[b] {
			sum += x
			byBoth += x * x
		}
		byBlock += sum * sum * 10 / 9
	}
	for region, n := range sizes {
		sum, share := 0.0, float64(n)/20
		for b := range blocks {
			sum += both[b][region]
		}
		byRegion += 3. / 4 * math.Pow(sum/(1-share), 2)
		squares += share * share
	}
	se := 1.15 * math.Sqrt(max(byBlock, byRegion, byBlock+byRegion-byBoth)) / (blocks * 20. / 30)
	effective := 1 / squares // 1/(0.01 + 0.04 + 0.09 + 0.16) = 3.33, fewer than the blocks
	require.InDelta(t, mean, l.EstimateDB, rootTol)
	require.InDelta(t, 10./3, l.Beyond.EffectiveRegions, 1e-9)
	require.InDelta(t, 0.4, l.Beyond.LargestRegion, 1e-12)
	require.InDelta(t, 0.05, l.Beyond.LargestStation, 1e-12)
	require.InDelta(t, se, l.Beyond.SE, 1e-4)
	student := distuv.StudentsT{Sigma: 1, Nu: effective - 1}
	require.InDelta(t, mean-student.Quantile(0.975)*se, l.Beyond.Interval.LowDB, 1e-3)
	require.InDelta(t, mean+student.Quantile(0.975)*se, l.Beyond.Interval.HighDB, 1e-3)
	require.InDelta(t, 2*student.CDF(-mean/se), l.Beyond.P, 1e-4)
	require.Greater(t, l.Beyond.P, 0.1, "a p with digits to compare")
}

// The same of the shares of those that heard: stations hear arm A alone with a chance that depends on their region.
func TestHeardByBeyondByPlainCode(t *testing.T) {
	const blocks, regions = 12, 5
	stations := everywhere(20)
	for s := range stations {
		stations[s].Region = s % regions
	}
	all := make([]Presence, 0, blocks*len(stations))
	d := map[[2]int]float64{} // points
	mean := 0.0
	for b := range blocks {
		for s := range stations {
			p := Presence{b, s, (3*s+5*b+s*b)%7 < 3+s%regions, (5*s+2*b+s*b)%7 < 4}
			all = append(all, p)
			d[[2]int{b, s}] = 100 * float64(one(p.First)-one(p.Second))
			mean += d[[2]int{b, s}] / float64(blocks*len(stations))
		}
	}
	h := heardBy(t, stations, all, blocks)
	var byBlock, byRegion, byBoth, noise float64
	sums := map[int]float64{}
	for b := range blocks {
		cells, block := map[int]float64{}, 0.0
		for s := range stations {
			psi := (d[[2]int{b, s}] - mean) / 30 // w/m = 1/(20 + 10)
			cells[s%regions] += psi
			sums[s%regions] += psi
			block += psi
		}
		byBlock += block * block * 12 / 11
		noise += math.Pow(block*30/20, 2) / 11
		for _, x := range cells {
			byBoth += x * x
		}
	}
	for _, x := range sums {
		byRegion += 4. / 5 * math.Pow(x/(1-1./5), 2)
	}
	se := 1.15 * math.Sqrt(max(byBlock, byRegion, byBlock+byRegion-byBoth)) / (blocks * 20. / 30)
	student := distuv.StudentsT{Sigma: 1, Nu: regions - 1}
	require.InDelta(t, mean, h.EstimatePoints, 1e-9)
	require.InDelta(t, mean-student.Quantile(0.975)*se, h.Beyond.Interval.Low, 1e-6)
	require.InDelta(t, mean+student.Quantile(0.975)*se, h.Beyond.Interval.High, 1e-6)
	require.InDelta(t, 2*student.CDF(-math.Abs(mean)/se), h.Beyond.P, 1e-9)
	require.InDelta(t, math.Sqrt(noise), h.SigmaPoints, 1e-9, "the standard deviation of the block means, since all blocks weigh the same")
}

// Ten stations hear both arms alike, give or take 1 dB by block; ten more hear A alone, 10 dB above the cut: lone strong reports, which
// count as 1.2 dB with a weight of 0.1 at every difference near. So the sum of a block is 10 (x - o) + 12, x = +-1, over a weight of 11; it
// balances at 1.2 dB, falls by 10/11 for each dB, and scatters by 10/11 dB, which is 1 dB of the difference.
func TestKappaAndSigmaByHand(t *testing.T) {
	const blocks = 16
	var reports []Report
	for b := range blocks {
		for s := range 10 {
			reports = append(reports, Report{b, s, true, 0, -5 + float64(1-2*(b%2))}, Report{b, s, false, 1, -5}, Report{b, 10 + s, true, 0, -8})
		}
	}
	l := must(t, make([]Station, 20), reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Level()
	require.InDelta(t, 1.2, l.EstimateDB, rootTol)
	require.InDelta(t, 10./11, l.Kappa, 1e-9)
	require.InDelta(t, math.Sqrt(16./15), l.SigmaDB, 1e-6)
}

// Sixteen stations all round and nothing censored: a block's own lobe is 2/16 of the sum of its columns times differences.
// Blocks have lobes of 4 and 2 dB to the east in turn, and of +-0.5 dB to the north: 3 dB east are fitted, and what is left has
// the root mean square 1 dB along the worst direction, which is east.
func TestSigmaOfALobeByHand(t *testing.T) {
	const n, blocks = 16, 12
	stations, reports := make([]Station, n), []Report(nil)
	for s := range stations {
		az := 2 * math.Pi * float64(s) / n
		stations[s] = Station{AzimuthRad: az, HasAzimuth: true, Region: s}
		for b := range blocks {
			east, north := 3+float64(1-2*(b%2)), 0.5*float64(1-2*(b/2%2))
			reports = append(reports, Report{b, s, true, 0, 20 + east*math.Sin(az) + north*math.Cos(az)}, Report{b, s, false, 1, 20})
		}
	}
	d := must(t, stations, reports, Params{Blocks: blocks, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Directivity(OneSided)
	require.InDelta(t, 3, d.Lobes[0].AmplitudeDB, 1e-3)
	require.InDelta(t, 90, d.Lobes[0].TowardDeg, 0.1)
	require.InDelta(t, 1, d.SigmaDB, 1e-3)
	require.Equal(t, 1./1000, d.Gate2, "regions that line up as no permutation does: the identity alone")

	// The running evidence by its formula: bets of all sizes in twelve directions on twice U = 16/2 of the lobe over 16 + 10.
	greatest := 1.0
	for last := 1; last <= blocks; last++ {
		e := 0.0
		for q := range 12 {
			sin, cos := math.Sincos(float64(q) * math.Pi / 6)
			for _, size := range []float64{0.25, 0.5, 1, 2, 4, 8} {
				capital := 1.0
				for b := range last {
					east, north := 3+float64(1-2*(b%2)), 0.5*float64(1-2*(b/2%2))
					capital *= 1 + math.Tanh(size*2*(cos*north+sin*east)*8/26)
				}
				e += capital / 72
			}
		}
		require.InEpsilon(t, e, d.RunningE[last-1], 1e-6)
		greatest = max(greatest, e)
	}
	require.InEpsilon(t, 1/greatest, d.RunningP, 1e-6)
}

// Four blocks with four stations in front, 1 dB better there, and four behind: h = 16/8 = 2, weight 2/(2 + 2). Eight with one
// each, 6 dB better in front: h = 1/2, weight 0.5/2.5. The mean is (4*0.5*1 + 8*0.2*6)/(4*0.5 + 8*0.2) dB.
func TestFrontToBackWeighsBlocks(t *testing.T) {
	var stations []Station
	for i := range 8 {
		stations = append(stations, Station{AzimuthRad: float64(i%2)*math.Pi + 0.1, HasAzimuth: true})
	}
	var reports []Report
	for b := range 12 {
		heard, better := 8, 1.0
		if b >= 4 {
			heard, better = 2, 6
		}
		for s := range heard {
			reports = append(reports, Report{b, s, true, 0, 20 + better*float64(1-s%2)}, Report{b, s, false, 1, 20})
		}
	}
	f := must(t, stations, reports, Params{Blocks: 12, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).FrontToBack(0)
	require.InDelta(t, (2+9.6)/3.6, f.EstimateDB, 2*rootTol)
}

// One block, differences 1; 2, 3; 4, 5, 6; 7, 8, 9, 10 in regions of one to four stations, all heard: the block mean 5.5 is
// taken off. A region of n gives the sum over n + 2, with the weight n/(n + median), and the median of 1, 2, 3, 4 is 2.5.
func TestRegionMeansByHand(t *testing.T) {
	var stations []Station
	var reports []Report
	for region := range 4 {
		for range region + 1 {
			s := len(stations)
			stations = append(stations, Station{Region: region, HasAzimuth: true})
			reports = append(reports, Report{0, s, true, 0, 20 + float64(s+1)}, Report{0, s, false, 1, 20})
		}
	}
	s := must(t, stations, reports, Params{Blocks: 1, CutDB: -18, CeilingDB: math.Inf(1)}).newScore(OneSided)
	s.look(0, []float64{0, 0})
	means := s.regionMeans(OneSided)
	for j, sum := range []float64{-4.5, -6, -1.5, 12} {
		n := float64(j + 1)
		require.InDelta(t, sum/(n+2), means[j].e, 1e-12)
		require.InDelta(t, n/(n+2.5), means[j].q, 1e-12)
	}
}

// Of six regions all 720 orders are looked at, each with the sum of squares of a least squares fit by another library: the share that is as
// great is what 999 drawn ones estimate, give or take four standard errors.
func TestGate2AgainstAllOrders(t *testing.T) {
	for seed := range 3 {
		means := make([]regionMean, 6)
		for j := range means {
			az := float64(j)*math.Pi/3 + 0.2*float64(j%3)
			means[j] = regionMean{q: 0.3 + 0.1*float64((j*j+seed)%5), e: float64((5*j*j+3*j+seed*seed*j)%7) / 2, x: OneSided.columns(az)}
		}
		observed := explainedByQR(t, means)
		asGreat := 0
		orders := allOrders(6)
		require.Len(t, orders, 720)
		for _, order := range orders {
			moved := slices.Clone(means)
			for j, from := range order {
				moved[j].x = means[from].x
			}
			asGreat += one(explainedByQR(t, moved) >= observed-1e-9)
		}
		p := float64(asGreat) / 720
		got := must(t, nil, nil, Params{Blocks: 8, Seed: 4}).gate2(means)
		require.InDelta(t, p, got, 4*math.Sqrt(p*(1-p)/999)+0.001)
		require.GreaterOrEqual(t, got, 0.001, "the identity counts")
	}
	lined := make([]regionMean, 12) // no drawn order does as well
	for j := range lined {
		az := float64(j) * math.Pi / 6
		lined[j] = regionMean{q: 0.5 + 0.01*float64(j), e: math.Cos(az), x: OneSided.columns(az)}
	}
	require.Equal(t, 1./1000, must(t, nil, nil, Params{Blocks: 8, Seed: 4}).gate2(lined))
}

// A lobe along -cos(az), and a log distance of -cos(az) +- c: the correlation is 1/sqrt(2) over sqrt(1/2 + c^2). Tangled is
// what is above 0.5.
func TestFromWhereDistanceIsTangled(t *testing.T) {
	for correlation, tangled := range map[float64]bool{0.55: true, 0.45: false} {
		c := math.Sqrt(0.5/(correlation*correlation) - 0.5)
		var stations []Station
		var reports []Report
		for s := range 48 {
			az := 2 * math.Pi * float64(s) / 48
			stations = append(stations, Station{AzimuthRad: az, HasAzimuth: true, LogDistance: -math.Cos(az) + c*float64(s%2*2-1), Region: s/4*2 + s%2})
			for b := range 8 {
				reports = append(reports, Report{b, s, true, 0, 20 - 4*math.Cos(az) + 0.1*float64(b%3)}, Report{b, s, false, 1, 20})
			}
		}
		d := must(t, stations, reports, Params{Blocks: 8, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Directivity(OneSided)
		require.InDelta(t, correlation, d.Tangle.Correlation, 1e-3)
		require.Equal(t, tangled, d.Tangle.Tangled)
	}
}
