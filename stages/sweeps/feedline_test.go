package sweeps

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/match"
)

func s1p(name string) File {
	return File{Name: name, Arm: "low", Plane: "radio", Format: "touchstone"}
}

// coax is a line of 3.0103 dB at 14.1 MHz: a wave comes back with half its amplitude. It is 1.25 wavelengths long
// there, so it turns impedances as a quarter of a wavelength does.
func coax(z0 float64) *Feedline {
	return &Feedline{LengthM: 1.25 * 0.66 * 299.792458 / 14.1, LossDBPer100m: 10 * math.Log10(2) / (1.25 * 0.66 * 2.99792458 / 14.1), AtMHz: 14.1, VelocityFactor: 0.66, Z0Ohm: z0}
}

// told gives the rows in brief: plane, whether measured, R, X, SWR with its interval, return loss, mismatch loss.
func told(res *pipeline.Result) []string {
	var out []string
	for r := table.NewReader(res.Tables[TableSweeps]); r.Next(); {
		text := fmt.Sprintf("%s %v", r.Str("plane"), r.Bool("measured"))
		for _, name := range []string{"r_ohm", "x_ohm", "swr", "swr_low", "swr_high", "return_loss_db", "mismatch_loss_db"} {
			if v := r.FloatOrNil(name); v == nil {
				text += " -"
			} else {
				text += fmt.Sprintf(" %.4g", math.Round(*v*1e9)/1e9+0)
			}
		}
		out = append(out, text)
	}
	return out
}

func notes(res *pipeline.Result) []string {
	out := []string{}
	for _, n := range res.Notes {
		out = append(out, fmt.Sprintf("%d %s", n.Pos.Line, n.Code))
	}
	return out
}

// Values by hand, from G = (Z-Z0)/(Z+Z0) and SWR = (1+|G|)/(1-|G|) (Pozar, Microwave Engineering, chapter 2). Removing
// coax doubles |G| and turns it by half a turn (1.25 wavelengths forth and back).
func TestTouchstoneReadings(t *testing.T) {
	const head = "# MHz S RI R 50\n"
	for _, c := range []struct {
		rule, text string
		line       *Feedline
		at         string
		want       []string
		notes      []string
	}{
		{"the dummy load", head + "14.1 0 0\n", coax(50), "radio",
			[]string{"feedpoint false 50 0 1 1 1 - 0", "radio true 50 0 1 1 1 - 0"}, []string{}},
		{"a load of 150 ohm comes back as 83.3 ohm", head + "14.1 -0.25 0\n", coax(50), "radio",
			[]string{"feedpoint false 150 0 3 3 3 6.021 1.249", "radio true 30 0 1.667 1.667 1.667 12.04 0.2803"}, []string{}},
		{"no feedline declared", head + "14.1 0.25 0\n", nil, "radio", []string{"radio true 83.33 0 1.667 1.667 1.667 12.04 0.2803"}, []string{}},
		{"measured at the feedpoint", head + "14.1 0.25 0\n", coax(50), "feedpoint", []string{"feedpoint true 83.33 0 1.667 1.667 1.667 12.04 0.2803"}, []string{}},
		{"a short at the line's far end", head + "14.1 0.5 0\n", coax(50), "radio",
			[]string{"feedpoint false 0 0 - - - 0 -", "radio true 150 0 3 3 3 6.021 1.249"}, []string{}},
		{"an open at the line's far end", head + "14.1 -0.5 0\n", coax(50), "radio",
			[]string{"feedpoint false - - - - - 0 -", "radio true 16.67 0 3 3 3 6.021 1.249"}, []string{}},
		{"a short behind a line that loses: the declared loss is wrong", head + "14.0 0.1 0\n14.1 -1 0\n14.2 0.1 0\n", coax(50), "radio",
			nil, []string{"3 feedline_doubtful"}},
		{"a short itself", head + "14.1 -1 0\n", nil, "radio", []string{"radio true 0 0 - - - 0 -"}, []string{}},
		{"an open itself", head + "14.1 1 0\n", nil, "radio", []string{"radio true - - - - - 0 -"}, []string{}},
		{"total but for the printed digits", head + "14.1 0.7071068 0.7071068\n", nil, "radio", []string{"radio true 0 120.7 - - - 0 -"}, []string{}},
		{"more comes back than went: no SWR, and none is bounded", head + "14.1 1.25 0\n", nil, "radio",
			[]string{"radio true -450 0 - 1 - -1.938 -"}, []string{"2 reflection_gain"}},
		{"the same, told once", head + "14.1 1.25 0\n", coax(50), "radio",
			[]string{"feedpoint false - - - 1 - - -", "radio true -450 0 - 1 - -1.938 -"}, []string{"2 reflection_gain"}},
		{"75 ohm in the file: 100 ohm is SWR 2 at 50", "# MHz S RI R 75\n14.1 0.142857142857143 0\n", nil, "radio",
			[]string{"radio true 100 0 2 2 2 9.542 0.5115"}, []string{}},
		{"a line of 75 ohm: 75 stays 75, SWR 1.5 at both ends", "# MHz S RI R 75\n14.1 0 0\n", coax(75), "radio",
			[]string{"feedpoint false 75 0 1.5 1.5 1.5 13.98 0.1773", "radio true 75 0 1.5 1.5 1.5 13.98 0.1773"}, []string{}},
		{"a line of 75 ohm: G 0.25 becomes -0.5, 25 ohm, SWR 2", "# MHz S RI R 75\n14.1 0.25 0\n", coax(75), "radio",
			[]string{"feedpoint false 25 0 2 2 2 9.542 0.5115", "radio true 125 0 2.5 2.5 2.5 7.36 0.8814"}, []string{}},
		{"a line of 75 ohm, impossible: nothing is bounded", "# MHz S RI R 75\n14.1 0.75 0\n", coax(75), "radio",
			[]string{"feedpoint false - - - 1 - - -", "radio true 525 0 10.5 10.5 10.5 1.659 4.981"}, []string{"2 feedline_doubtful"}},
		{"an empty file", " \n", coax(50), "radio", nil, []string{"0 empty_file"}},
		{"cut before [End]", "[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n14.1 0 0\n", nil, "radio",
			[]string{"radio true 50 0 1 1 1 - 0"}, []string{"6 no_end"}},
	} {
		f := s1p("a.s1p")
		f.Feedline, f.Plane = c.line, c.at
		res, err := run(t, []File{f}, c.text)
		require.NoError(t, err, c.rule)
		require.Equal(t, c.notes, notes(res), c.rule)
		if c.want != nil {
			require.Equal(t, c.want, told(res), c.rule)
		}
	}
}

// Whatever the line loses, the SWR at its far end is no less than at the near end.
func TestImpossibleReadingsBoundFromBelow(t *testing.T) {
	f := s1p("a.s1p")
	f.Feedline = coax(50)
	res, err := run(t, []File{f}, "# MHz S RI R 50\n14.1 0.75 0\n")
	require.NoError(t, err)
	require.Equal(t, []string{"feedpoint false - - - 7 - - -", "radio true 350 0 7 7 7 2.499 3.59"}, told(res))
	require.Equal(t, "without the declared feedline, 1 of 1 readings would reflect more than arrives, first at 14.1 MHz: the unit of the frequency, the declared loss or the reading is wrong", res.Notes[0].Msg)
	require.NotEmpty(t, res.Notes[0].Mend)
}

// Displays of 1.67 (|G| 0.25) and others behind coax, which doubles |G|; ends of intervals by the same formulas.
func TestFeedlineRemovedFromDisplays(t *testing.T) {
	const head = "frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n"
	for _, c := range []struct {
		rule, row string
		z0, to    float64
		want      []string
		notes     []string
	}{
		// 1.665 to 1.68: |G| 0.24953 to 0.25373, doubled 0.49906 to 0.50746
		{"SWR alone", "14.1,1.67,,,", 50, 0, []string{"feedpoint false - - 3.015 2.993 3.061 5.988 1.26", "radio true - - 1.67 1.665 1.68 12.01 0.2825"}, []string{}},
		// 12.0 dB stands for 11.95 to 12.1; removing 6.0206 dB of a way forth and back leaves 5.979
		{"return loss alone", "14.1,,12.0,,", 50, 0, []string{"feedpoint false - - 3.019 2.973 3.043 5.979 1.263", "radio true - - 1.671 1.661 1.676 12 0.283"}, []string{}},
		// 2.5 to 4 allow |G| 3/7 to 3/5: the upper end has no bound
		{"the upper end without bound", "14.1,3,,,", 50, 0, []string{"feedpoint false - - - 13 - 0 -", "radio true - - 3 2.5 4 6.021 1.249"}, []string{}},
		{"impossible by its nominal value, not by its interval", "14.1,3.0,,,", 50, 0, []string{"feedpoint false - - - 157 - 0 -", "radio true - - 3 2.95 3.1 6.021 1.249"}, []string{}},
		{"impossible", "14.1,4.0,,,", 50, 0, []string{"feedpoint false - - - 3.95 - - -", "radio true - - 4 3.95 4.1 4.437 1.938"}, []string{"2 feedline_doubtful"}},
		{"a line of another impedance, SWR alone: it stays", "14.1,1.67,,,", 75, 0, []string{"radio true - - 1.67 1.665 1.68 12.01 0.2825"}, []string{"2 feedline_stays"}},
		{"the analyser refers to 75 ohm as well", "14.1,1.67,,,", 75, 75, []string{"feedpoint false - - 3.015 2.993 3.061 5.988 1.26", "radio true - - 1.67 1.665 1.68 12.01 0.2825"}, []string{}},
		{"SWR of 1 shown", "14.1,1.0,,,", 50, 0, []string{"feedpoint false - - 1 1 1.01 - 0", "radio true - - 1 1 1.1 - 0"}, nil},
	} {
		f := file("a.csv")
		f.Feedline, f.Z0Ohm = coax(c.z0), c.to
		res, err := run(t, []File{f}, head+c.row+"\n")
		require.NoError(t, err, c.rule)
		if c.notes == nil { // |G| up to 1/21 becomes up to 2/21
			r := table.NewReader(res.Tables[TableSweeps])
			require.True(t, r.Next())
			require.InDelta(t, 23./19, r.Float("swr_high"), 1e-9, c.rule)
			require.Equal(t, 1.0, r.Float("swr_low"))
			continue
		}
		require.Equal(t, c.want, told(res), c.rule)
		require.Equal(t, c.notes, notes(res), c.rule)
	}
}

// Either all readings of a file get their row at the feedpoint, or none.
func TestFeedlineStaysForAll(t *testing.T) {
	f := file("a.csv")
	f.Feedline = coax(75)
	res, err := run(t, []File{f}, "frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n14.0,,,125,0\n14.1,1.67,,,\n")
	require.NoError(t, err)
	require.Equal(t, []string{"3 feedline_stays"}, notes(res))
	require.Len(t, told(res), 2)
	res, err = run(t, []File{f}, "frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n14.1,,,125.00,0.00\n")
	require.NoError(t, err)
	got := told(res)
	require.Len(t, got, 2)
	require.True(t, strings.HasPrefix(got[0], "feedpoint false 25 0 2 2"), got[0])
}

func TestFilesThatAreRefusedNameTheLine(t *testing.T) {
	_, err := run(t, []File{s1p("a.s1p"), s1p("b.s1p")}, "# MHz\n14.1 0.1\n", "# MHz X\n")
	require.ErrorContains(t, err, "a.s1p:2: the line has 2 numbers")
	require.ErrorContains(t, err, "b.s1p:1: the option line has the unknown field")
	require.ErrorContains(t, err, "mend: ")
	_, err = run(t, []File{s1p("a.s1p")}, "\x1f\x8b\x08\x00\x00\x00")
	require.ErrorContains(t, err, "gzip file is cut")
}

// The true SWR at the feedpoint lies in the interval, whatever the analyser at the radio shows of it, rounded or cut.
func TestIntervalHoldsTheTrueSWRAtBothEnds(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		load := complex(rapid.Float64Range(5, 500).Draw(rt, "r"), rapid.Float64Range(-300, 300).Draw(rt, "x"))
		line := Feedline{LengthM: rapid.Float64Range(0, 40).Draw(rt, "length"), LossDBPer100m: rapid.Float64Range(0, 8).Draw(rt, "loss"),
			AtMHz: 10, VelocityFactor: 0.66, Z0Ohm: rapid.SampledFrom([]float64{50, 75, 450}).Draw(rt, "z0")}
		near, _ := match.Impedance(match.Line(line).Input(match.Reflection(load, line.Z0Ohm), 14.1), line.Z0Ohm)
		show := func(v float64, name string) string {
			places := rapid.IntRange(0, 3).Draw(rt, name+" decimals")
			if scale := math.Pow10(places); rapid.Bool().Draw(rt, name+" is cut") {
				v = math.Trunc(v*scale) / scale
			}
			return fmt.Sprintf("%.*f", places, v)
		}
		g := match.Reflection(near, 50)
		cells := []string{"14.1", "", "", show(real(near), "R"), show(imag(near), "X")}
		if line.Z0Ohm == 50 {
			what := rapid.IntRange(1, 7).Draw(rt, "what is shown")
			if what&1 != 0 {
				cells[1] = show(match.SWR(g), "SWR")
			}
			if what&2 != 0 {
				cells[2] = show(match.ReturnLossDB(g), "return loss")
			}
			if what < 4 {
				cells[3], cells[4] = "", ""
			}
		}
		f := file("a.csv")
		f.Feedline = &line
		res, err := run(t, []File{f}, "frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n"+strings.Join(cells, ",")+"\n")
		require.NoError(rt, err)
		require.Empty(rt, refusals(res), "a true reading agrees with itself")
		require.Empty(rt, res.Notes)
		rows := 0
		for r := table.NewReader(res.Tables[TableSweeps]); r.Next(); rows++ {
			true1 := match.SWR(g)
			if r.Str("plane") == "feedpoint" {
				true1 = match.SWR(match.Reflection(load, 50))
			}
			require.LessOrEqual(rt, r.Float("swr_low"), true1*(1+1e-9), r.Str("plane"))
			if high := r.FloatOrNil("swr_high"); high != nil {
				require.GreaterOrEqual(rt, *high, true1*(1-1e-9), r.Str("plane"))
			}
		}
		require.Equal(rt, 2, rows)
	})
}

// A Touchstone file gives the load's own impedance back.
func TestTouchstoneGivesTheLoadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		load := complex(rapid.Float64Range(5, 500).Draw(rt, "r"), rapid.Float64Range(-300, 300).Draw(rt, "x"))
		line := coax(rapid.SampledFrom([]float64{50, 75}).Draw(rt, "z0"))
		near := match.Line(*line).Input(match.Reflection(load, line.Z0Ohm), 14.1)
		s := match.Renormalise(near, line.Z0Ohm, 50)
		f := s1p("a.s1p")
		f.Feedline = line
		res, err := run(t, []File{f}, fmt.Sprintf("# MHz S RI R 50\n14.1 %v %v\n", real(s), imag(s)))
		require.NoError(rt, err)
		r := table.NewReader(res.Tables[TableSweeps])
		require.True(rt, r.Next())
		require.InDelta(rt, 0, cmplx.Abs(complex(r.Float("r_ohm"), r.Float("x_ohm"))-load), 1e-7)
		require.InEpsilon(rt, match.SWR(match.Reflection(load, 50)), r.Float("swr"), 1e-9)
		require.Equal(rt, r.Float("swr"), r.Float("swr_low"))
		require.Equal(rt, r.Float("swr"), r.Float("swr_high"))
	})
}

func BenchmarkSweeps(b *testing.B) {
	var text strings.Builder
	text.WriteString("# MHz S RI R 50\n")
	for i := range 1000 {
		fmt.Fprintf(&text, "%.4f %.6f %.6f\n", 14+float64(i)/1000, 0.2, float64(i)/10000)
	}
	f := s1p("a.s1p")
	f.Feedline = coax(50)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := run(b, []File{f}, text.String()); err != nil {
			b.Fatal(err)
		}
	}
}

// Half the power is lost in a matched line; a load of 150 ohm, |G| = 1/2, adds 10 log10[(1 - 1/16) / (1 - 1/4)] (Pozar,
// Microwave Engineering, chapter 2).
func TestLineLossIsToldWhereALineWasRemoved(t *testing.T) {
	s, tab := s1p("a.s1p"), file("b.csv")
	s.Feedline, tab.Feedline = coax(50), coax(50)
	res, err := run(t, []File{s, tab}, "# MHz S RI R 50\n14.1 -0.25 0\n", "frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n14.1,1.6666667,,,\n")
	require.NoError(t, err)
	want := 10*math.Log10(2) + 10*math.Log10((1-0.0625)/0.75)
	for r := table.NewReader(res.Tables[TableSweeps]); r.Next(); {
		if r.Bool("measured") {
			require.True(t, r.Null("line_loss_db"))
			continue
		}
		require.InDelta(t, want, r.Float("line_loss_db"), 1e-7)
	}
	s.Feedline = coax(75)
	res, err = run(t, []File{s}, "# MHz S RI R 75\n14.1 0.25 0\n")
	require.NoError(t, err)
	r := table.NewReader(res.Tables[TableSweeps])
	require.True(t, r.Next())
	require.InDelta(t, want, r.Float("line_loss_db"), 1e-9, "the reflection against the line's own impedance counts")
}
