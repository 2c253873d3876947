package contrast

import (
	"encoding/json"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// workedCase is testdata/worked_case.json (see testdata/README.md).
type workedCase struct {
	Receivers []struct {
		ID     string  `json:"id"`
		Az     float64 `json:"az"`
		Region int     `json:"region"`
	} `json:"receivers"`
	Reports []struct {
		Block    int     `json:"block"`
		Arm      string  `json:"arm"`
		Slot     int64   `json:"slot"`
		Receiver string  `json:"receiver"`
		Y        float64 `json:"y_dithered"`
	} `json:"reports"`
	Expected struct {
		G       []float64          `json:"g_at_0"`
		Dbar    []float64          `json:"Dbar_at_0"`
		W       []float64          `json:"w_at_0"`
		M       []float64          `json:"a_sum"`
		P       float64            `json:"p_overall"`
		DHat    float64            `json:"d_hat"`
		PAt     map[string]float64 `json:"p_at_offset"`
		U       [][]float64        `json:"U_at_dhat"`
		V0      [][]float64        `json:"V0"`
		Ve      [][]float64        `json:"Ve"`
		V       [][]float64        `json:"V"`
		Q       float64            `json:"Q"`
		P1      float64            `json:"p1"`
		E       []float64          `json:"E_running"`
		SE      float64            `json:"two_way_se"`
		LobeFit map[string]float64 `json:"lobe_fit_8_rounds"`
	} `json:"expected"`
}

func readWorked(t testing.TB) (workedCase, *Trial) {
	t.Helper()
	raw, err := os.ReadFile("testdata/worked_case.json")
	require.NoError(t, err)
	var w workedCase
	require.NoError(t, json.Unmarshal(raw, &w))
	number := map[string]int{}
	var stations []Station
	for i, r := range w.Receivers {
		number[r.ID] = i
		stations = append(stations, Station{AzimuthRad: r.Az, HasAzimuth: true, Region: r.Region})
	}
	var reports []Report
	for _, r := range w.Reports {
		reports = append(reports, Report{r.Block, number[r.Receiver], r.Arm == "A", r.Slot, r.Y})
	}
	trial, err := New(stations, reports, Params{Blocks: 8, CutDB: -18, CeilingDB: math.Inf(1), Seed: 1})
	require.NoError(t, err)
	return w, trial
}

// rootTol is the size of a root found by 20 halvings of 60 dB.
const rootTol = 6e-5

func requireClose(t *testing.T, want, got []float64, tol float64) {
	t.Helper()
	require.Len(t, got, len(want))
	for i := range want {
		require.InDelta(t, want[i], got[i], tol, "place %d", i)
	}
}

func TestWorkedLevel(t *testing.T) {
	w, trial := readWorked(t)
	e, l := w.Expected, trial.Level()
	const tol = 1e-12 // plain sums

	requireClose(t, e.Dbar, l.MeanDB, tol)
	requireClose(t, e.W, l.W, tol)
	requireClose(t, e.G, l.G, tol)
	require.Equal(t, e.P, l.P)
	for at, p := range e.PAt {
		d, err := strconv.ParseFloat(at, 64)
		require.NoError(t, err)
		require.Equal(t, p, trial.PAt(d), at)
	}
	require.InDelta(t, e.DHat, l.EstimateDB, rootTol)
	requireClose(t, e.E, l.Running.E, 1e-12*slices.Max(e.E))
	require.InDelta(t, 1/slices.Max(e.E), l.Running.P, tol)
	require.InDelta(t, e.SE, l.Beyond.SE, rootTol)
}

func TestWorkedScore(t *testing.T) {
	w, trial := readWorked(t)
	e := w.Expected
	const tol = 1e-12
	s := trial.newScore(OneSided)
	s.look(e.DHat, []float64{0, 0})
	requireClose(t, e.M, s.m, tol)
	for b := range e.U {
		requireClose(t, e.U[b], s.u[b], tol)
	}
	v := s.variance()
	for i := range v {
		requireClose(t, e.V0[i], s.v0[i], tol)
		requireClose(t, e.Ve[i], s.ve[i], tol)
		requireClose(t, e.V[i], v[i], tol)
	}
	inv, ok := inverse(v)
	require.True(t, ok)
	require.InDelta(t, e.Q, dot(s.sumU, times(inv, s.sumU)), 1e-11)
	require.Equal(t, e.P1, s.gate1())
	require.InDelta(t, e.SE, s.beyond(e.DHat).SE, tol)
}

func TestWorkedLobe(t *testing.T) {
	w, trial := readWorked(t)
	d, beta := trial.newScore(OneSided).fit(8)
	require.InDelta(t, w.Expected.LobeFit["d"], d, rootTol)
	require.InDelta(t, w.Expected.LobeFit["bc"], beta[0], rootTol)
	require.InDelta(t, w.Expected.LobeFit["bs"], beta[1], rootTol)
}
