package contrast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// plainScore is the score of a one-sided lobe in the worked case by the plainest code, from the method's formulas.
type plainScore struct {
	u      [][2]float64  // by block
	v0, ve [2][2]float64 // sums over the blocks
	mean   [2]float64    // of the columns, weighted by a
	p      float64       // of gate 1
}

func (w workedCase) plainScore(d, bc, bs float64) plainScore {
	values := map[[2]int][2][]float64{} // by block and receiver: arms A and B
	place := map[string]int{}
	for i, r := range w.Receivers {
		place[r.ID] = i
	}
	for _, r := range w.Reports {
		at := [2]int{r.Block, place[r.Receiver]}
		v, arm := values[at], 1
		if r.Arm == "A" {
			arm = 0
		}
		v[arm] = append(v[arm], r.Y)
		values[at] = v
	}
	var out plainScore
	total := 0.0
	for block := range 8 {
		var x [][2]float64
		var ds, as []float64
		m, centre := 0.0, [2]float64{}
		for i, r := range w.Receivers {
			col := [2]float64{math.Cos(r.Az), math.Sin(r.Az)}
			o := d + bc*col[0] + bs*col[1]
			least := -18 + math.Max(0, -o)
			var mean, heard [2]float64
			for arm, shift := range []float64{o, 0} {
				sum, n := 0.0, 0.0
				for _, y := range values[[2]int{block, i}][arm] {
					if y-shift > least {
						sum, n = sum+y-shift, n+1
					}
				}
				mean[arm] = least
				if n > 0 {
					mean[arm], heard[arm] = sum/n, 1
				}
			}
			if heard[0]+heard[1] == 0 {
				continue
			}
			diff, a := math.Max(-15, math.Min(15, mean[0]-mean[1])), (heard[0]+heard[1])/2
			if a < 1 && math.Abs(mean[0]-mean[1]) > 6 {
				diff, a = math.Copysign(1.2, mean[0]-mean[1]), 0.1
			}
			x, ds, as = append(x, col), append(ds, diff), append(as, a)
			m += a
			for k := range 2 {
				centre[k] += a * col[k]
				out.mean[k] += a * col[k]
			}
		}
		total += m
		var u [2]float64
		for i := range x {
			for k := range 2 {
				u[k] += (x[i][k] - centre[k]/m) * ds[i] / (m + 10)
				for l := range 2 {
					out.v0[k][l] += as[i] * (x[i][k] - centre[k]/m) * (x[i][l] - centre[l]/m) / (m + 10)
				}
			}
		}
		out.u = append(out.u, u)
		for k := range 2 {
			for l := range 2 {
				out.ve[k][l] += u[k] * u[l]
			}
		}
	}
	for k := range 2 {
		out.mean[k] /= total
	}
	var v [2][2]float64
	factor := (out.ve[0][0] + out.ve[1][1]) / (out.v0[0][0] + out.v0[1][1]) * 6 / 8
	for k := range 2 {
		for l := range 2 {
			v[k][l] = out.ve[k][l] + out.v0[k][l]*factor
		}
	}
	inv := plainInverse(v)
	form := func(flips int) float64 {
		var s [2]float64
		for b, u := range out.u {
			sign := 1 - 2*float64(flips>>b&1)
			s[0], s[1] = s[0]+sign*u[0], s[1]+sign*u[1]
		}
		return s[0]*s[0]*inv[0][0] + 2*s[0]*s[1]*inv[0][1] + s[1]*s[1]*inv[1][1]
	}
	observed, asGreat := form(0), 0
	for flips := range 256 {
		if form(flips) >= observed-1e-9*observed {
			asGreat++
		}
	}
	out.p = float64(asGreat) / 256
	return out
}

func plainInverse(v [2][2]float64) [2][2]float64 {
	det := v[0][0]*v[1][1] - v[0][1]*v[1][0]
	return [2][2]float64{{v[1][1] / det, -v[0][1] / det}, {-v[1][0] / det, v[0][0] / det}}
}

// The lobe's interval and arc in the worked case against all points of the grid about the published fit, in plain code, that the
// published scores bear out first.
func TestRegionOfALobeByPlainCode(t *testing.T) {
	w, trial := readWorked(t)
	at := w.plainScore(w.Expected.DHat, 0, 0)
	for b, u := range w.Expected.U {
		requireClose(t, u, at.u[b][:], 1e-12)
	}
	require.Equal(t, w.Expected.P1, at.p)

	fit := w.Expected.LobeFit
	at = w.plainScore(fit["d"], fit["bc"], fit["bs"])
	inv := plainInverse(at.v0)
	var se [2]float64
	for k := range 2 { // the diagonal of M^-1 Ve M^-1
		for i := range 2 {
			for j := range 2 {
				se[k] += inv[k][i] * at.ve[i][j] * inv[j][k]
			}
		}
		se[k] = math.Sqrt(se[k])
	}
	half, edge := 2.0, true
	var least, greatest float64
	var angles []float64
	for edge && half < 16 { // the grid grows where the region reaches its edge
		half *= 2
		edge, least, greatest, angles = false, math.Inf(1), 0, nil
		for i := -20; i <= 20; i++ {
			for j := -20; j <= 20; j++ {
				dc, ds := half*se[0]*float64(i)/20, half*se[1]*float64(j)/20
				if w.plainScore(fit["d"]-at.mean[0]*dc-at.mean[1]*ds, fit["bc"]+dc, fit["bs"]+ds).p <= 0.05 {
					continue
				}
				edge = edge || max(i, -i, j, -j) == 20
				least, greatest = math.Min(least, math.Hypot(fit["bc"]+dc, fit["bs"]+ds)), math.Max(greatest, math.Hypot(fit["bc"]+dc, fit["bs"]+ds))
				angles = append(angles, math.Atan2(fit["bs"]+ds, fit["bc"]+dc)*180/math.Pi)
			}
		}
	}
	require.False(t, edge)
	from, to := angles[0], angles[0]
	toward := math.Atan2(fit["bs"], fit["bc"]) * 180 / math.Pi
	for _, a := range angles { // all within half a turn of the fit
		away := math.Mod(a-toward+540, 360) - 180
		from, to = math.Min(from, toward+away), math.Max(to, toward+away)
	}
	require.Less(t, to-from, 180.0)

	d := trial.Directivity(OneSided)
	require.Len(t, d.Lobes, 1)
	l := d.Lobes[0]
	// Our fit stops three rounds before the published one: the grids lie some 1e-4 dB apart.
	require.InDelta(t, least, l.LowDB, 2e-3)
	require.InDelta(t, greatest, l.HighDB, 2e-3)
	require.True(t, l.DirectionKnown)
	require.InDelta(t, from, l.FromDeg, 0.1)
	require.InDelta(t, to, l.ToDeg, 0.1)
	require.InDelta(t, toward, l.TowardDeg, 0.1)
	t.Logf("amplitude %.3f to %.3f dB, direction %.2f to %.2f degrees", least, greatest, from, to)
}

// Nothing censored, and all stations heard always: gate 1 beyond the distance is that of the columns less their least squares fit
// on 1 and the log distance, whatever slope is taken off. All 4096 flips of twelve blocks, by plain code.
func TestGate1BeyondDistanceByPlainCode(t *testing.T) {
	for seed := range uint64(3) {
		trial := tangledTrial(seed, 1.2*float64(seed), 1)
		const n, blocks = 48, 12
		z, col := make([]float64, n), [2][]float64{make([]float64, n), make([]float64, n)}
		zz, mz := 0.0, 0.0
		for r, s := range trial.stations {
			z[r] = s.LogDistance
			mz += z[r] / n
			col[0][r], col[1][r] = math.Cos(s.AzimuthRad), math.Sin(s.AzimuthRad)
		}
		for r := range z {
			z[r] -= mz
			zz += z[r] * z[r]
		}
		for k := range 2 {
			mean, slope := 0.0, 0.0
			for r, x := range col[k] {
				mean += x / n
				slope += x * z[r] / zz
			}
			for r := range col[k] {
				col[k][r] -= mean + slope*z[r]
			}
		}
		var u [blocks][2]float64
		for _, c := range trial.cells {
			diff := trial.values[c.first] - trial.values[c.second]
			for k := range 2 {
				u[c.block][k] += col[k][c.station] * diff / (n + 10)
			}
		}
		var v0, ve, v [2][2]float64
		for k := range 2 {
			for l := range 2 {
				for r := range n {
					v0[k][l] += col[k][r] * col[l][r] / (n + 10) * blocks
				}
				for b := range blocks {
					ve[k][l] += u[b][k] * u[b][l]
				}
			}
		}
		for k := range 2 {
			for l := range 2 {
				v[k][l] = ve[k][l] + v0[k][l]*(ve[0][0]+ve[1][1])/(v0[0][0]+v0[1][1])*6/blocks
			}
		}
		inv := plainInverse(v)
		form := func(flips int) float64 {
			var s [2]float64
			for b := range blocks {
				sign := 1 - 2*float64(flips>>b&1)
				s[0], s[1] = s[0]+sign*u[b][0], s[1]+sign*u[b][1]
			}
			return s[0]*s[0]*inv[0][0] + 2*s[0]*s[1]*inv[0][1] + s[1]*s[1]*inv[1][1]
		}
		asGreat := 0
		for flips := range 1 << blocks {
			asGreat += one(form(flips) >= form(0)*(1-1e-9))
		}
		s := trial.Located().newScore(OneSided)
		_, beta := s.fit(fitRounds)
		tangle := s.tangle(OneSided, beta)
		require.True(t, tangle.Tangled)
		require.Equal(t, float64(asGreat)/(1<<blocks), tangle.Gate1)
	}
}

// Of six regions all 720 orders: columns and means less their fit on 1 and the distance, the sum of squares by another library, and
// the share that is as great.
func TestGate2BeyondDistanceAgainstAllOrders(t *testing.T) {
	means, z := make([]regionMean, 6), make([]float64, 6)
	for j := range means {
		az := float64(j)*math.Pi/3 + 0.2*float64(j%3)
		z[j] = float64(j*j%4) / 2
		means[j] = regionMean{q: 0.3 + 0.1*float64(j*j%5), e: float64((5*j*j+3*j)%7)/2 + z[j], x: OneSided.columns(az)}
	}
	// What columns and distance explain together beyond the distance alone: the same sum of squares, told otherwise.
	squares := func(order []int) float64 {
		both, alone := make([]regionMean, 6), make([]regionMean, 6)
		for j, m := range means {
			both[j], alone[j] = m, m
			both[j].x = append(append([]float64(nil), means[order[j]].x...), z[j])
			alone[j].x = []float64{z[j]}
		}
		return explainedByQR(t, both) - explainedByQR(t, alone)
	}
	observed, asGreat := squares([]int{0, 1, 2, 3, 4, 5}), 0
	orders := allOrders(6)
	require.Len(t, orders, 720)
	for _, order := range orders {
		asGreat += one(squares(order) >= observed-1e-9)
	}
	p := float64(asGreat) / 720
	got := must(t, nil, nil, Params{Blocks: 8, Seed: 4}).gate2Beyond(means, append([]float64(nil), z...))
	require.InDelta(t, p, got, 4*math.Sqrt(p*(1-p)/999)+0.001)

	lined, far := make([]regionMean, 12), make([]float64, 12) // no drawn order does as well
	for j := range lined {
		az := float64(j) * math.Pi / 6
		far[j] = float64(j % 3)
		lined[j] = regionMean{q: 0.5 + 0.01*float64(j), e: math.Cos(az) + far[j], x: OneSided.columns(az)}
	}
	require.Equal(t, 1./1000, must(t, nil, nil, Params{Blocks: 8, Seed: 4}).gate2Beyond(lined, far))
}

// allOrders lists the orders of n things.
func allOrders(n int) [][]int {
	if n == 0 {
		return [][]int{nil}
	}
	var out [][]int
	for _, order := range allOrders(n - 1) {
		for at := range n {
			with := append([]int(nil), order[:at]...)
			out = append(out, append(append(with, n-1), order[at:]...))
		}
	}
	return out
}

// Stations at angles of +-theta about an axis: across it the columns have the variance sin^2 theta, and 0.05 of them is 12.92 degrees.
func TestSurroundedFromWhere(t *testing.T) {
	for theta, surrounded := range map[float64]bool{12.5: false, 13.3: true} {
		var stations []Station
		var reports []Report
		for i := range 16 {
			az := float64(i%2*180) + theta*float64(i/2%2*2-1)
			stations = append(stations, Station{AzimuthRad: az * math.Pi / 180, HasAzimuth: true, Region: i})
			for b := range 8 {
				reports = append(reports, Report{b, i, true, 0, float64((b + i) % 3)}, Report{b, i, false, 1, 0})
			}
		}
		d := must(t, stations, reports, Params{Blocks: 8, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).Gates(OneSided)
		require.Equal(t, surrounded, d.Testable, "%g degrees: %s", theta, d.Why.Text)
	}
}

// A lobe that no draw comes near: of 999 draws and the trial itself only the trial has so much.
func TestBothScattersCountTheTrialItself(t *testing.T) {
	var stations []Station
	var reports []Report
	for i := range 24 {
		az := 2 * math.Pi * float64(i) / 24
		stations = append(stations, Station{AzimuthRad: az, HasAzimuth: true, Region: i})
		for b := range 12 {
			reports = append(reports, Report{b, i, true, 0, 6*math.Cos(az) + 0.1*float64((b*7+i*5)%4)}, Report{b, i, false, 1, 0})
		}
	}
	s := must(t, stations, reports, Params{Blocks: 12, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1}).newScore(OneSided)
	s.look(root(s.sumG), []float64{0, 0})
	means := s.regionMeans(OneSided)
	both, ok := newSources(means, s.inTime(means))
	require.True(t, ok)
	require.Equal(t, 1./1000, both.p(1))
}

// The running evidence for a lobe takes a common difference of 0 in its first three blocks, and then that of the blocks before. A station
// that the cut touches makes the two tell apart.
func TestRunningLobeIsBlindForThreeBlocks(t *testing.T) {
	f := field{stations: 20, blocks: 6, slots: 3, meanDB: -16, effect: constant(5)}
	trial := f.trial(4)
	zero := trial.newScore(OneSided)
	zero.look(0, []float64{0, 0})
	for b := range 6 {
		got := trial.newScore(OneSided).blockAlone(b)
		if b < 3 {
			require.Equal(t, zero.u[b], got, "block %d", b)
		} else {
			require.NotEqual(t, zero.u[b], got, "block %d", b)
		}
	}
}
