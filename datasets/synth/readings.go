package synth

import (
	"fmt"
	"math"
	"strings"
)

// dip is one resonance as the analyser shows it at the radio: the least SWR, where, and how fast the SWR
// grows away from it.
type dip struct {
	fromKHz, toKHz, stepKHz int
	atKHz, swr, perMHz      float64
}

var (
	lowMatch = []dip{
		{13_950, 14_400, 25, 14_130, 1.24, 5.0},
		{27_900, 29_800, 100, 28_450, 1.31, 0.78},
	}
	highMatch = []dip{
		{13_950, 14_400, 25, 14_205, 1.17, 5.2},
		{27_900, 29_800, 100, 28_600, 1.22, 0.85},
	}
)

// readings is a table of displayed values: SWR to 2 places, return loss to 1, both rounded from one reflection.
func readings(dips []dip) []byte {
	var out strings.Builder
	out.WriteString("frequency_mhz,swr,return_loss_db\n")
	for _, d := range dips {
		for f := d.fromKHz; f <= d.toKHz; f += d.stepKHz {
			away := (float64(f) - d.atKHz) / 1000
			swr := math.Hypot(d.swr, d.perMHz*away)
			loss := -20 * math.Log10((swr-1)/(swr+1))
			fmt.Fprintf(&out, "%.3f,%.2f,%.1f\n", float64(f)/1000, swr, loss)
		}
	}
	return []byte(out.String())
}
