package rehearsal_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

// A sweep in any form, made at the radio or at the feedpoint, tells the analysis the same of the antenna: at the feedpoint the
// highest SWR within the band is the one that is stated as the truth.
func TestSweepsComeBack(t *testing.T) {
	table := func(columns string) string { return "format = \"table\"\ncolumns = { " + columns + " }\n" }
	for name, form := range map[string]string{
		"touchstone":       "",
		"touchstone, 75":   "z0_ohm = 75\n",
		"impedance":        table(`frequency_mhz = { column = "f", unit = "Hz" }, r_ohm = "R", x_ohm = "X"`),
		"SWR":              table(`frequency_mhz = "f", swr = "SWR"`),
		"SWR, return loss": table(`frequency_mhz = { column = "f", unit = "kHz" }, swr = "SWR", return_loss_db = "RL"`) + "delimiter = \";\"\n",
		"all, no header":   table(`frequency_mhz = 3, swr = 1, return_loss_db = 2, r_ohm = 5, x_ohm = 4`) + "header = false\n",
	} {
		for _, plane := range []string{"radio", "feedpoint"} {
			t.Run(name+" at the "+plane, func(t *testing.T) {
				text := base
				if strings.Contains(form, "z0_ohm") {
					text = replaced(t, base, "at_mhz = 14 }", "at_mhz = 14, z0_ohm = 75 }")
				}
				r := rehearse(t, text+aTable+"[[sweeps]]\narm = \"low\"\nfiles = [\"sweeps/*.txt\"]\nat = \""+plane+"\"\n"+form, false, "none")
				highest, least, points := r.highest(t)
				require.GreaterOrEqual(t, points, 20)
				// Two decimals of SWR at the radio leave 0.02 at the feedpoint, behind half a dB of loss.
				require.InDelta(t, r.HighestSWR(0, "low"), highest, 0.03)
				require.Less(t, least, 1.45, "there is a resonance within the band")
			})
		}
	}
}

// highest gives the highest and the least SWR at the feedpoint within 20m.
func (r rehearsed) highest(t *testing.T) (highest, least float64, points int) {
	_, refused, done := r.read(t)
	require.Empty(t, refused)
	rec, err := done.Table("sweeps")
	require.NoError(t, err)
	defer rec.Release()
	least = 1e9
	for s := table.NewReader(rec); s.Next(); {
		if f := s.Float("frequency_mhz"); s.Str("plane") == "feedpoint" && f >= 14 && f <= 14.35 {
			highest, least, points = max(highest, s.Float("swr")), min(least, s.Float("swr")), points+1
		}
	}
	return highest, least, points
}
