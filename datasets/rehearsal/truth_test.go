package rehearsal_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets/rehearsal"
	"fairlobe/datasets/world"
)

// twoBands has arms whose names begin alike, hold blanks, a colon or look like a word of the grammar.
func twoBands(t testing.TB) string {
	return replaced(t, base, `["20m"]`, `["20m", "10m"]`, "[schedule]",
		"[[arm]]\nname = \"high up\"\n[[arm]]\nname = \"none\"\n[[arm]]\nname = \"b: 6 m\"\n[schedule]") + aTable
}

func TestParseTruth(t *testing.T) {
	exp, planned := load(t, twoBands(t))
	level := func(db float64) world.Pattern { return world.Pattern{LevelDB: db} }
	lobe := func(harmonic int, db, deg float64) world.Lobe {
		return world.Lobe{Harmonic: harmonic, AmplitudeDB: db, TowardDeg: deg}
	}
	for _, c := range []struct {
		name       string
		statements []string
		want       map[[2]string]world.Pattern
	}{
		{"nothing", nil, nil},
		{"none", []string{"none"}, nil},
		{"none on a band", []string{"20m: none"}, nil},
		{"level", []string{"20m: high +2.5 dB"}, map[[2]string]world.Pattern{{"20m", "high"}: level(2.5)}},
		{"without a blank", []string{"20m:high -3dB"}, map[[2]string]world.Pattern{{"20m", "high"}: level(-3)}},
		{"blanks", []string{"  20m :  high   1   dB "}, map[[2]string]world.Pattern{{"20m", "high"}: level(1)}},
		{"all bands", []string{"low 1 dB"}, map[[2]string]world.Pattern{{"20m", "low"}: level(1), {"10m", "low"}: level(1)}},
		{"the longer name", []string{"20m: high up +1 dB", "20m: high +2 dB"},
			map[[2]string]world.Pattern{{"20m", "high up"}: level(1), {"20m", "high"}: level(2)}},
		{"an arm named none", []string{"20m: none +1 dB"}, map[[2]string]world.Pattern{{"20m", "none"}: level(1)}},
		{"a colon in a name", []string{"b: 6 m +1 dB", "20m: low -1 dB"},
			map[[2]string]world.Pattern{{"20m", "b: 6 m"}: level(1), {"10m", "b: 6 m"}: level(1), {"20m", "low"}: level(-1)}},
		{"lobe", []string{"20m: high lobe 3 dB toward 300"},
			map[[2]string]world.Pattern{{"20m", "high"}: {Lobes: []world.Lobe{lobe(1, 3, 300)}}}},
		{"two lobes", []string{"20m: high two lobes 4 dB along 30"},
			map[[2]string]world.Pattern{{"20m", "high"}: {Lobes: []world.Lobe{lobe(2, 4, 30)}}}},
		{"all at once, in any order", []string{"20m: high two lobes 4 dB along 30, lobe 0.5 dB toward 0, +2 dB"},
			map[[2]string]world.Pattern{{"20m", "high"}: {LevelDB: 2, Lobes: []world.Lobe{lobe(1, 0.5, 0), lobe(2, 4, 30)}}}},
		{"one after the other", []string{"20m: high +2 dB", "high lobe 1 dB toward 90"}, map[[2]string]world.Pattern{
			{"20m", "high"}: {LevelDB: 2, Lobes: []world.Lobe{lobe(1, 1, 90)}}, {"10m", "high"}: {Lobes: []world.Lobe{lobe(1, 1, 90)}}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			truth, err := rehearsal.ParseTruth(exp, bandsOf(planned), c.statements)
			require.NoError(t, err)
			for _, band := range []string{"20m", "10m"} {
				for _, a := range exp.Arms {
					want, got := c.want[[2]string{band, a.Name}], truth.Pattern(band, a.Name)
					require.Equal(t, want.LevelDB, got.LevelDB, "%s %s", band, a.Name)
					require.ElementsMatch(t, want.Lobes, got.Lobes, "%s %s", band, a.Name)
				}
			}
			again, err := rehearsal.ParseTruth(exp, bandsOf(planned), truth.Words())
			require.NoError(t, err, "its own words can be read")
			require.Equal(t, truth.Words(), again.Words())
		})
	}
}

func TestParseTruthSaysWhatIsWrong(t *testing.T) {
	exp, planned := load(t, twoBands(t))
	for _, c := range []struct {
		statements []string
		wants      []string // parts of the message, the mend among them
	}{
		{[]string{"40m: high +2 dB"}, []string{`"40m"`, "20m and 10m"}},
		{[]string{"hihg +2 dB"}, []string{`"hihg"`, "low, high, high up, none and b: 6 m", "low +2 dB"}},
		{[]string{"20m: +2 dB"}, []string{`"+2"`, "low +2 dB"}},
		{[]string{""}, []string{"low +2 dB"}},
		{[]string{"20m: high"}, []string{"high +2 dB"}},
		{[]string{"high 2"}, []string{`"2"`, "+2.5 dB"}},
		{[]string{"high 2,5 dB"}, []string{"decimal point"}},
		{[]string{"high lobe 3 dB"}, []string{"lobe 3 dB toward 300"}},
		{[]string{"high lobe 3 dB along 30"}, []string{"toward an azimuth", "along an axis"}},
		{[]string{"high two lobes 3 dB toward 30"}, []string{"along an axis"}},
		{[]string{"high lobe -3 dB toward 30"}, []string{"-3", "0 to 20"}},
		{[]string{"high lobe 3 dB toward 361"}, []string{"361", "0 to 360"}},
		{[]string{"high +41 dB"}, []string{"+41", "-40 to 40"}},
		{[]string{"high 1e3 dB"}, []string{`"1e3 dB"`}},
		{[]string{"high +1 dB", "20m: high +2 dB"}, []string{"20m: high +2 dB", "high +1 dB", "once"}},
		{[]string{"high +1 dB, +1 dB"}, []string{"once"}},
		{[]string{"none", "high +1 dB"}, []string{"once"}},
		{[]string{"high none, +1 dB"}, []string{`"none"`}},
	} {
		_, err := rehearsal.ParseTruth(exp, bandsOf(planned), c.statements)
		require.Error(t, err, "%q", c.statements)
		for _, part := range c.wants {
			require.Contains(t, err.Error(), part, "%q", c.statements)
		}
	}
}

// Whatever is typed, the parser ends with a truth whose own words it reads, or with an error.
func FuzzParseTruth(f *testing.F) {
	for _, s := range []string{"20m: high +2.5 dB", "none", "high lobe 3 dB toward 300, -1 dB", "b: 6 m two lobes 4 dB along 30", "::,", "20m:", "high 99999999999 dB"} {
		f.Add(s)
	}
	exp, planned := load(f, twoBands(f))
	bands := bandsOf(planned)
	f.Fuzz(func(t *testing.T, text string) {
		truth, err := rehearsal.ParseTruth(exp, bands, []string{text})
		if err != nil {
			return
		}
		again, err := rehearsal.ParseTruth(exp, bands, truth.Words())
		require.NoError(t, err)
		require.Equal(t, truth.Words(), again.Words())
	})
}
