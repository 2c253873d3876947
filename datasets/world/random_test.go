package world

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"
)

// SD of Rayleigh fading that is left after averaging over a transmission, by Doppler spread: calculated as
// 4.343*sqrt(trigamma(k)) by a program that shares nothing with this one, printed with two digits. A direct simulation
// of the two cells at 12.6 s, 0.1 and 0.5 Hz gave 2.9 and 1.27 dB. Tolerance: half a unit of the last digit, and
// 1 % for the rounding of the times.
func TestFadingHasThePublishedSpread(t *testing.T) {
	onAir := []float64{4.5, 12.6, 50, 110.6}
	for _, c := range []struct {
		spreadHz float64
		sd       []float64
	}{
		{0.02, []float64{5.5, 5.2, 3.3, 2.2}},
		{0.05, []float64{5.3, 4.1, 2.1, 1.4}},
		{0.1, []float64{4.6, 3.0, 1.5, 1.0}},
		{0.5, []float64{2.2, 1.3, 0.65, 0.44}},
		{1.0, []float64{1.55, 0.9, 0.46, 0.31}},
	} {
		for i, want := range c.sd {
			half := 0.05
			if math.Abs(want*10-math.Round(want*10)) > 1e-9 { // two decimals
				half = 0.005
			}
			f := fadingOf(c.spreadHz, onAir[i])
			require.InDelta(t, want, 10/math.Ln10*math.Sqrt(mathext.Zeta(2, f.k)), half+0.01*want, "%g Hz, %g s", c.spreadHz, onAir[i])
		}
	}
}

// Mean and SD of 10*lg of a mean of k exponential powers: 4.343*(digamma(k)-ln k), 4.343*sqrt(trigamma(k)) (Johnson, Kotz and
// Balakrishnan, Continuous Univariate Distributions 1, 1994, log-gamma). Tolerance: 5 standard errors; the SD's with the
// log-gamma's kurtosis, at most 2.4 for k of 1.
func TestFadingIsDrawnWithItsMoments(t *testing.T) {
	const n = 40_000
	for _, c := range [][2]float64{{0.001, 12.64}, {0.02, 12.64}, {0.1, 12.64}, {0.5, 12.64}, {0.5, 110.6}} {
		f := fadingOf(c[0], c[1])
		random := Trial{Seed: 3}.stream("test", "", 0)
		draws := make([]float64, n)
		for i := range draws {
			draws[i] = f.drawDB(random)
		}
		mean, sd := stat.MeanStdDev(draws, nil)
		wantSD := 10 / math.Ln10 * math.Sqrt(mathext.Zeta(2, f.k))
		require.InDelta(t, 10/math.Ln10*(mathext.Digamma(f.k)-math.Log(f.k)), mean, 5*wantSD/math.Sqrt(n))
		require.InDelta(t, wantSD, sd, 5*wantSD*math.Sqrt((2+2.4)/4/n))
	}
}

func TestNoSpreadDoesNotFade(t *testing.T) {
	require.Zero(t, fadingOf(0, 12.64).drawDB(Trial{}.stream("test", "", 0)))
}

// Neighbouring names must not give related numbers: mean 0, variance 1/12 and no correlation from one number to the
// next. Tolerance: 5 standard errors.
func TestStreamsOfNeighboursAreUnrelated(t *testing.T) {
	const n = 20_000
	for draw := range 4 {
		u := make([]float64, n)
		for i := range u {
			random := Trial{Seed: 7}.stream("station", "20m", i)
			for range draw {
				random.Float64()
			}
			u[i] = random.Float64()
		}
		require.InDelta(t, 0.5, stat.Mean(u, nil), 5/math.Sqrt(12*n))
		require.InDelta(t, 0, stat.Correlation(u[1:], u[:n-1], nil), 5/math.Sqrt(n))
	}
}

func TestStreamsHaveTheirOwnNumbers(t *testing.T) {
	seen := map[uint64]string{}
	for _, seed := range []uint64{0, 1} {
		for _, part := range []string{"slow", "drift"} {
			for _, band := range []string{"", "20m", "10m"} {
				for number := range 3 {
					name := fmt.Sprintf("%d %s %s %d", seed, part, band, number)
					first := Trial{Seed: seed}.stream(part, band, number).Uint64()
					require.Empty(t, seen[first], name)
					seen[first] = name
				}
			}
		}
	}
}
