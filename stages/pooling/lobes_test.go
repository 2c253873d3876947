package pooling

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/judge"
)

// A lobe of one arm is never tested; a bundle that says so all the same is not taken at its word.
func TestLobeOfOneArm(t *testing.T) {
	f := lobe(3, 0, 0.1, 300)
	f.Arms, f.Azimuths[1] = []string{"high"}, nil
	for _, frame := range []string{"", North, Wire} {
		doc, err := Pool([]Study{study(1, f), study(2, f)}, Options{Frame: frame})
		require.NoError(t, err)
		require.Equal(t, noneEnters, doc.Claims[0].ReasonCode)
		require.Equal(t, "one arm alone is compared with nothing", doc.Claims[0].LeftOut[0].Reason)
	}
}

// Three lobes of 2 dB along their wires, which run toward 0, 120 and 240 degrees: nothing from north, a lobe of 2 dB in the frame of the wire.
func TestFrames(t *testing.T) {
	three := func(frame string) []Study {
		var out []Study
		for i, azimuth := range []float64{0, 120, 240} {
			sin, cos := math.Sincos(azimuth * math.Pi / 180)
			f := lobe(2*cos, 2*sin, 0.15, azimuth)
			f.Frame = frame
			f.FrontToBack = &FrontToBack{azimuth, of(4.0 + 0.1*float64(i)), &[2]*float64{of(3.0), of(5.3)}}
			out = append(out, study(i+1, f))
		}
		return out
	}
	c := pooledOf(t, three("")...).Claims[0]
	require.Equal(t, North, c.Directivity.Frame)
	require.Contains(t, codes(c.Warnings), "wires_differ")
	require.Equal(t, judge.Undecided, c.Verdict)
	require.InDelta(t, 0, *c.Estimate, 1e-4)
	require.Nil(t, c.Directivity.Lobes[0].TowardDeg)
	require.Equal(t, 4, c.Heterogeneity.QDF)

	c = pooledOf(t, three(Wire)...).Claims[0]
	require.Equal(t, Wire, c.Directivity.Frame)
	require.Empty(t, slices.DeleteFunc(codes(c.Warnings), func(s string) bool { return s == "few_studies" }))
	require.Equal(t, judge.Different, c.Verdict, c.Reason)
	require.InDelta(t, 2, *c.Estimate, 1e-4)
	require.InDelta(t, 0, math.Remainder(*c.Directivity.Lobes[0].TowardDeg, 360), 0.1)
	require.Contains(t, c.Reason, "toward 0 degrees clockwise from the way in which the wire runs, 2.00 dB")
	require.Equal(t, 3, c.Directivity.FrontToBack.Operators)
	require.InDelta(t, 4.1, *c.Directivity.FrontToBack.Estimate, 1e-4)

	doc, err := Pool(three(""), Options{Frame: Wire})
	require.NoError(t, err)
	require.Equal(t, judge.Different, doc.Claims[0].Verdict)

	mixed := three(Wire)
	mixed[1].Findings[0].Frame = ""
	c = pooledOf(t, mixed...).Claims[0]
	require.Equal(t, Wire, c.Directivity.Frame, "what one left open, the others decide")
	require.NotContains(t, codes(c.Warnings), "frames_differ")
	mixed[1].Findings[0].Frame = North
	require.Contains(t, codes(pooledOf(t, mixed...).Claims[0].Warnings), "frames_differ")
	mixed[1].Findings[0].Frame = Wire
	mixed[1].Findings[0].Azimuths[1] = of(90.0)
	c = pooledOf(t, mixed...).Claims[0]
	require.Len(t, c.LeftOut, 1)
	require.Contains(t, c.LeftOut[0].Reason, "they run toward 120 and 90 degrees")
	mixed[1].Findings[0].Azimuths[1] = nil
	require.Contains(t, pooledOf(t, mixed...).Claims[0].LeftOut[0].Reason, "it is not given")
}

// Two lobes of the second harmonic repeat after half a turn; the shape any asks both harmonics, and its p is twice the lesser.
func TestShapes(t *testing.T) {
	four := func(shape string, harmonics ...int) []Study {
		var out []Study
		for i := range 4 {
			f := lobe(0, 0, 0.2, 0)
			f.Shape = shape
			f.Fits = nil
			for _, h := range harmonics {
				sin, cos := math.Sincos(float64(h) * 100 * math.Pi / 180)
				f.Fits = append(f.Fits, Fit{h, 2*cos + 0.05*float64(i), 2 * sin, 0.04, 0.04, 0.01})
			}
			out = append(out, study(i+1, f))
		}
		return out
	}
	c := pooledOf(t, four("two-sided", 2)...).Claims[0]
	require.InDelta(t, 100, *c.Directivity.Lobes[0].TowardDeg, 2)
	require.Contains(t, c.Reason, "in the directions 1")
	require.Contains(t, codes(c.Warnings), "same_receivers")
	c = pooledOf(t, four("any", 1, 2)...).Claims[0]
	require.Len(t, c.Directivity.Lobes, 2)
	least := min(*c.Directivity.Lobes[0].P, *c.Directivity.Lobes[1].P)
	require.InDelta(t, 2*least, *c.P, 2e-6)
	c = pooledOf(t, four("any", 1)...).Claims[0]
	require.Equal(t, noneEnters, c.ReasonCode, "both harmonics are needed")
}

// Flat lobes rest on as many stations as in a single trial.
func TestFewStationsRuleOutNoLobe(t *testing.T) {
	flat := func(stations int) ClaimEntry {
		var out []Study
		for i := range 4 {
			f := lobe(0.05*float64(i), 0, 0.1, 0)
			f.Stations = stations
			out = append(out, study(i+1, f))
		}
		return pooledOf(t, out...).Claims[0]
	}
	require.Equal(t, judge.Same, flat(3).Verdict)
	require.Equal(t, "few_to_rule_out", flat(2).ReasonCode)
}

// A level that is small on average is not the same where a lobe is there.
func TestSmallLevelThatDependsOnTheDirection(t *testing.T) {
	var with, said []Study
	for i := range 4 {
		with = append(with, study(i+1, level(0.1, 0.3), lobe(2, 0.05*float64(i), 0.1, 0)))
		f := level(0.1, 0.3)
		f.Depends = i < 2
		said = append(said, study(i+1, f))
	}
	require.Equal(t, "depends_on_direction", pooledOf(t, with...).Claims[0].ReasonCode)
	require.Equal(t, "depends_on_direction", pooledOf(t, said...).Claims[0].ReasonCode)
	said[1].Findings[0].Depends = false
	require.Equal(t, judge.Same, pooledOf(t, said...).Claims[0].Verdict, "one of four is less than half")
}
