package contrast

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// The distributions that intervals and plans rest on (testdata/quantiles.csv). The library's own accuracy is about 1e-9.
func TestQuantiles(t *testing.T) {
	f, err := os.Open("testdata/quantiles.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	tested := map[string]int{}
	for _, row := range rows[1:] {
		p, errP := strconv.ParseFloat(row[2], 64)
		want, errW := strconv.ParseFloat(row[4], 64)
		df, errDF := 0.0, error(nil)
		if row[1] != "" {
			df, errDF = strconv.ParseFloat(row[1], 64)
		}
		require.NoError(t, errors.Join(errP, errW, errDF))
		var got float64
		switch row[0] {
		case "normal_quantile":
			got = normal(p)
		case "t_quantile":
			got = distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
		case "chi2_quantile":
			got = distuv.ChiSquared{K: df}.Quantile(p)
		}
		require.InEpsilon(t, want, got, 1e-8, "%v", row)
		tested[row[0]]++
	}
	require.Equal(t, map[string]int{"normal_quantile": 4, "t_quantile": 32, "chi2_quantile": 32}, tested)
}

// cosh x <= exp(x^2/2), so the capital of a bet is never below exp(lambda S - lambda^2 V/2), S the sum and V the sum of squares:
// de la Pena, A general class of exponential inequalities for martingales and ratios, Annals of Probability 27, 1999.
func TestEvidenceIsAboveTheNormalBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 20).Draw(t, "g")
		path := evidence(g)
		s, v := 0.0, 0.0
		for b, x := range g {
			s += x
			v += x * x
			bound := 0.0
			for _, lambda := range betsPerDB {
				for _, l := range []float64{lambda, -lambda} {
					bound += math.Exp(l*s-l*l*v/2) / float64(2*len(betsPerDB))
				}
			}
			require.GreaterOrEqual(t, path[b], bound*(1-1e-12))
		}
	})
}
