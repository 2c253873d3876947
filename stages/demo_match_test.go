package stages

import (
	"bufio"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

// readSweep gives MHz and the magnitude of the reflection at the radio of a file of the demo: Touchstone with real and
// imaginary parts, or a display's SWR.
func readSweep(t *testing.T, name string) [][2]float64 {
	f, err := os.Open(filepath.Join("../datasets/ridge-wire/sweeps", name))
	require.NoError(t, err)
	defer f.Close()
	var out [][2]float64
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var v []float64
		for _, word := range strings.FieldsFunc(lines.Text(), func(r rune) bool { return r == ' ' || r == ',' }) {
			if x, err := strconv.ParseFloat(word, 64); err == nil {
				v = append(v, x)
			}
		}
		switch {
		case len(v) < 3 || strings.HasPrefix(lines.Text(), "#"):
		case strings.HasSuffix(name, ".s1p"):
			out = append(out, [2]float64{v[0], math.Hypot(v[1], v[2])})
		default:
			out = append(out, [2]float64{v[0], (v[1] - 1) / (v[1] + 1)})
		}
	}
	return out
}

// The highest SWR of the demo's sweeps from its files: 12 m of line with 4 dB/100 m at 14 MHz, its loss with the root of the
// frequency, take 0.48 sqrt(f/14) dB each way, so a reflection at the antenna comes back weaker by twice that (D. M. Pozar,
// Microwave Engineering, chapter 2).
func TestDemoMatchAgainstItsFiles(t *testing.T) {
	done := runDemo(t)
	rec, err := done.Table("verdicts")
	require.NoError(t, err)
	defer rec.Release()
	files := map[string]string{"low": "low-1.s1p", "high": "high-1.csv"}
	// A display's SWR is good to half a hundredth, and its return loss may narrow that.
	tolerance := map[string]float64{"low": 1e-3, "high": 0.02}
	bands := map[string][2]float64{"20m": {14, 14.35}, "10m": {28, 29.7}}
	seen := 0
	for r := table.NewReader(rec); r.Next(); {
		var v struct {
			Kind, Band string
			Sweeps     []struct {
				Arm, Plane string
				Readings   int
				HighestSWR float64     `json:"highest_swr"`
				Interval   *[2]float64 `json:"highest_swr_interval"`
				AtMHz      float64     `json:"at_mhz"`
				AtRadio    float64     `json:"highest_swr_at_radio"`
			}
		}
		require.NoError(t, json.Unmarshal([]byte(r.Str("detail")), &v))
		if v.Kind != "match" {
			continue
		}
		for _, s := range v.Sweeps {
			seen++
			highest, at, radio, readings := 0.0, map[float64]float64{}, 0.0, 0
			for _, reading := range readSweep(t, files[s.Arm]) {
				mhz, m := reading[0], reading[1]
				if mhz < bands[v.Band][0] || mhz > bands[v.Band][1] {
					continue
				}
				readings++
				load := m * math.Pow(10, 2*0.48*math.Sqrt(mhz/14)/20)
				at[mhz] = (1 + load) / (1 - load)
				highest, radio = math.Max(highest, at[mhz]), math.Max(radio, (1+m)/(1-m))
			}
			require.Equal(t, "feedpoint", s.Plane)
			require.Equal(t, readings, s.Readings)
			require.InDelta(t, highest, s.HighestSWR, tolerance[s.Arm])
			require.InDelta(t, highest, at[s.AtMHz], tolerance[s.Arm], "the frequency is that of the highest")
			require.InDelta(t, radio, s.AtRadio, tolerance[s.Arm])
			require.LessOrEqual(t, s.Interval[0], s.HighestSWR)
			require.GreaterOrEqual(t, s.Interval[1], s.HighestSWR)
			require.InDelta(t, highest, s.Interval[0], 0.05)
			require.InDelta(t, highest, s.Interval[1], 0.05)
		}
	}
	require.Equal(t, 4, seen)
}
