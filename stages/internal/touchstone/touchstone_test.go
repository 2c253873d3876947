package touchstone

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats/scalar"
	"pgregory.net/rapid"
)

func readCSV(t *testing.T, name string, want int) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, records, want+1)
	return records[1:]
}

func readFile(t *testing.T, name string) (*File, error) {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	require.NoError(t, err)
	defer f.Close()
	return Read(f)
}

// Values calculated from the numbers as printed (testdata/README.md); 1e-8 relative. What is nearly 0, such as the
// sine of 180 degrees, may differ by a rounding of what it was calculated from.
func TestExpected(t *testing.T) {
	files := map[string]*File{}
	counts := map[string]int{}
	for _, rec := range readCSV(t, "expected.csv", 93) {
		name := rec[0]
		if files[name] == nil {
			f, err := readFile(t, name)
			require.NoError(t, err, name)
			files[name] = f
		}
		f := files[name]
		var v []float64
		for _, text := range rec[1:8] {
			x, err := strconv.ParseFloat(text, 64)
			require.NoError(t, err)
			v = append(v, x)
		}
		p := f.Points[int(v[0])]
		same := func(want, got float64) {
			require.True(t, scalar.EqualWithinAbsOrRel(want, got, 1e-12, 1e-8), "%v: %v and %v", rec, want, got)
		}
		same(v[1]/1e6, p.MHz)
		require.Equal(t, v[2], f.ReferenceOhm)
		// ten printed digits of expected.csv, of the whole complex number
		require.LessOrEqual(t, cmplx.Abs(p.S-complex(v[3], v[4])), 1e-8*cmplx.Abs(p.S), rec)
		z := complex(f.ReferenceOhm, 0) * (1 + p.S) / (1 - p.S)
		require.LessOrEqual(t, cmplx.Abs(z-complex(v[5], v[6])), 1e-8*cmplx.Abs(z), rec)
		counts[name]++
	}
	for name, n := range counts {
		require.Len(t, files[name].Points, n, name)
		want := "1.1"
		if strings.HasPrefix(name, "v2") {
			want = "2.0"
		}
		require.Equal(t, want, files[name].Version)
	}
	require.Len(t, counts, 17)
	require.Equal(t, "line 5: a second option line does not count", warnings(files["v1_second_option_ignored.s1p"]))
}

func warnings(f *File) string {
	var out []string
	for _, w := range f.Warnings {
		out = append(out, fmt.Sprintf("line %d: %s", w.Line, w.What))
	}
	return strings.Join(out, "; ")
}

func TestMalformed(t *testing.T) {
	says := map[string]string{
		"bad_no_option_line.s1p":     "line 2: data stand before the option line: write a line such as # MHz S RI R 50 before the data",
		"bad_data_before_option.s1p": "line 1: data stand before the option line",
		"bad_unit.s1p":               `line 1: the option line has the unknown field "MegaHertz": units are Hz, kHz, MHz, GHz`,
		"bad_format.s1p":             `line 1: the option line has the unknown field "XY"`,
		"bad_r_missing_value.s1p":    "line 1: R stands without a resistance",
		"bad_r_negative.s1p":         `line 1: the reference resistance "-50" is not`,
		"bad_too_few_values.s1p":     "line 3: the line has 2 numbers: a one-port file has three",
		"bad_too_many_values.s1p":    "line 2: the line has 5 numbers",
		"bad_two_port_data.s1p":      "line 2: the line has 9 numbers: a one-port file has three: frequency and one complex value; these are two-port data",
		"bad_not_a_number.s1p":       `line 2: "abc" is not a number`,
		"bad_decimal_comma.s1p":      `line 2: "14,0" has a decimal comma: write 14.0`,
		"bad_nan.s1p":                `line 2: "NaN" is not a number`,
		"bad_frequency_order.s1p":    "line 3: the frequency is not above that of line 2",
		"bad_frequency_repeated.s1p": "line 3: the frequency is not above that of line 2",
		"bad_frequency_negative.s1p": `line 2: the frequency "-14.0" is negative`,
		"bad_no_data.s1p":            "line 1: the file holds no data",
		"bad_empty.s1p":              "line 1: the file is empty",
		"bad_h_parameter.s1p":        "line 1: the parameter H exists for two-ports only",
		"bad_v2_no_ports.s1p":        "line 4: [Number of Ports] is missing",
		"bad_v2_wrong_ports.s1p":     "line 3: the file is for 2 ports",
		"bad_v2_wrong_count.s1p":     "line 8: 2 frequencies are given, and [Number of Frequencies] says 3",
		"bad_v2_no_network_data.s1p": "line 5: data stand before [Network Data]",
		"bad_v2_unknown_version.s1p": `line 1: the version "7.0" is not known`,
		"bad_v2_reference_count.s1p": "line 5: [Reference] has 2 resistances for one port",
		"warn_v2_no_end.s1p":         "line 7: [End] is missing",
		"warn_gain.s1p":              "line 2: more is reflected than arrives at 1 frequency, first here",
	}
	for _, rec := range readCSV(t, "malformed.csv", 26) {
		name, expect := rec[0], rec[1]
		f, err := readFile(t, name)
		if expect == "error" {
			var bad *Error
			require.ErrorAs(t, err, &bad, name)
			require.NotEmpty(t, bad.Mend, name)
			require.True(t, strings.HasPrefix(err.Error(), says[name]), "%s: %s", name, err)
			continue
		}
		require.NoError(t, err, name)
		require.Equal(t, says[name], warnings(f), name)
		require.Len(t, f.Points, 2)
	}
}

const v2head = "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n[Number of Frequencies] 1\n"

// Forms that the specification allows, and what stands for them.
func TestForms(t *testing.T) {
	for _, c := range []struct{ rule, text, want string }{
		{"a byte-order mark", "\ufeff# MHz S RI R 50\n14 0.5 0\n", "14 0.5 0 ref 50"},
		{"CR alone", "# MHz S RI R 50\r14 0.5 0\r15 0.25 0\r", "14 0.5 0 15 0.25 0 ref 50"},
		{"CR LF, no end of the last line", "# MHz S RI R 50\r\n14 0.5 0", "14 0.5 0 ref 50"},
		{"tabs, form feeds, leading blanks", "\t# MHz\tS RI R 50\n \f14\t0.5\v0 \n", "14 0.5 0 ref 50"},
		{"any bytes in comments", "! \xff\x00\xfe\n# MHz S RI R 50!\x00\n14 0.5 0!\x00", "14 0.5 0 ref 50"},
		{"a number without digits before the point, with a sign", "# MHz S RI\n+14. .5 -0.\n", "14 0.5 0 ref 50"},
		{"GHz keep their digits", "# GHz S RI\n0.0141 0.5 0\n", "14.1 0.5 0 ref 50"},
		{"Hz with exponent", "# Hz S RI\n1.41E+7 0.5 0\n", "14.1 0.5 0 ref 50"},
		{"zero frequency", "# Hz S RI\n0 0.5 0\n", "0 0.5 0 ref 50"},
		{"dB", "# MHz DB\n14 -20 0\n", "14 0.1 0 ref 50"},
		{"version 1, Z times R", "# MHz Z RI R 75\n14 3 0\n", "14 0.5 0 ref 75"},
		{"an open end as admittance", "# MHz Y RI\n14 0 0\n", "14 1 0 ref 50"},
		{"keywords in any case, with blanks", "[ version ]\t2.0\n# MHz S RI\n[NUMBER  OF ports] 1\n[Number of Frequencies] 1\n[network data]\n14 0.5 0\n[END]\nanything", "14 0.5 0 ref 50"},
		{"[Reference] on two lines", v2head + "[Reference]\n! of the analyser\n 75\n[Network Data]\n14 0.5 0\n[End]\n", "14 0.5 0 ref 75"},
		{"an information block", v2head + "[Begin Information]\n# no option line, 1 2 3\n[Anything] x\n[End Information]\n[Matrix Format] Full\n[Network Data]\n14 0.5 0\n[End]\n", "14 0.5 0 ref 50"},
		{"version 2, Z in ohm", strings.Replace(v2head, "S RI", "Z RI", 1) + "[Network Data]\n14 150 0\n[End]\n", "14 0.5 0 ref 50"},
	} {
		f, err := Read(strings.NewReader(c.text))
		require.NoError(t, err, c.rule)
		got := ""
		for _, p := range f.Points {
			got += fmt.Sprintf("%g %.12g %.12g ", p.MHz, real(p.S), imag(p.S)+0)
		}
		require.Equal(t, c.want, got+fmt.Sprintf("ref %g", f.ReferenceOhm), c.rule)
		require.Empty(t, f.Warnings, c.rule)
	}
}

// What is refused besides the files of testdata: the grammar as before, and limits of this package.
func TestRefused(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{" \n\t\r\n", "line 1: the file is empty"},
		{"! only a comment\n", "line 1: there is no option line"},
		{"\xff\xfe#\x00", "UTF-16"},
		{"PK\x03\x04", "packed"},
		{"<!DOCTYPE html>", "web page"},
		{"# MHz S RI R 50 MHz\n", "line 1: the option line gives the unit twice"},
		{"# MHz S Z\n", "line 1: the option line gives the parameter twice"},
		{"# MHz R50\n", `unknown field "R50"`},
		{"# MHz R 1e7\n", "is not from above 0 to 1e6 ohm"},
		{"# MHz R fifty\n", `"fifty" is not a number`},
		{"# MHz\n14 -0.5 0\n", "line 2: a magnitude is negative"},
		{"# MHz Z RI\n14 -1 0\n", "line 2: the numbers give no reflection coefficient"},
		{"# MHz DB\n14 1e6 0\n", "line 2: the numbers give no reflection coefficient"},
		{"# GHz RI\n1e99999999999999999999 0 0\n", "line 2: "},
		{"# GHz RI\n1e307 0 0\n", "is too large"},
		{"# GHz RI\n0e99999999999999999999 0 0\n", "exponent out of range"},
		{"# MHz RI\n14 0\x00 0\n", `line 2: "0\x00" is not a number`},
		{"# MHz RI\n14 \u22120.1 0\n", "typographic minus"},
		{"# MHz\n[Number of Ports] 1\n", "line 2: the keyword [number of ports] belongs to version 2"},
		{"# MHz\n[Version] 2.0\n", "line 2: [Version] is not the first line"},
		{"[Version\n", "has no closing bracket"},
		{"[Version] 2.0\n[Number of Ports] one\n", `[number of ports] "one" is not a whole number`},
		{"[Version] 2.0\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n", "line 4: there is no option line"},
		{v2head + "[Number of Frequencies] 2\n", "line 5: [number of frequencies] stands twice"},
		{v2head + "[Reference]\n[Network Data]\n", "line 6: [Reference] stands without a resistance"},
		{v2head + "[Reference] 50\n[Reference] 50\n", "line 6: [Reference] stands twice"},
		{v2head + "[Noise Data]\n", "line 5: the keyword [noise data] does not belong into a one-port file"},
		{v2head + "[Matrix Format] round\n", "is not known"},
		{v2head + "[Network Data]\n[Reference] 50\n", "line 6: the keyword [reference] stands among the data"},
		{v2head, "line 4: [Network Data] is missing"},
		{v2head + "[Begin Information]\n", "line 5: [Network Data] is missing"},
		{"[Version] 2.0\n# MHz\n[Number of Ports] 1\n[Network Data]\n", "line 4: [Number of Frequencies] is missing"},
		{"# MHz ! " + strings.Repeat("x", MaxLineBytes), "line 1: the line is longer than 65536 bytes"},
	} {
		_, err := Read(strings.NewReader(c.text))
		var bad *Error
		require.ErrorAs(t, err, &bad, c.says)
		require.Contains(t, err.Error(), c.says)
		require.NotContains(t, err.Error(), "\x00", "nothing of a file steers a terminal")
		require.Less(t, len(err.Error()), 400)
	}
	_, err := Read(strings.NewReader(""))
	require.ErrorIs(t, err, ErrEmpty)
	_, err = Read(strings.NewReader("# MHz\n"))
	require.NotErrorIs(t, err, ErrEmpty)
	_, err = Read(iotest.ErrReader(io.ErrUnexpectedEOF))
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	require.False(t, errors.As(err, new(*Error)))
}

func TestLimits(t *testing.T) {
	_, err := Read(io.LimitReader(blanks{}, MaxBytes+10))
	require.ErrorContains(t, err, "the file is larger than 67108864 bytes")

	p := &parser{file: &File{Points: make([]Point, MaxPoints)}}
	bad := p.add(1, 0.5)
	require.ErrorContains(t, bad, "there are more than 1000000 frequencies")
	f, err := Read(strings.NewReader(strings.Repeat("# MHz\n", 1000) + "14 0.5 0\n"))
	require.NoError(t, err)
	require.Len(t, f.Warnings, 1, "the same doubt is told once")
}

// blanks is a file without end.
type blanks struct{}

func (blanks) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '\n'
	}
	return len(p), nil
}

// write writes points as a file of one of the forms.
func write(points []Point, unit, parameter, form string, ohm float64, v2 bool, end string) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+end, args...) }
	if v2 {
		line("[Version] 2.0")
	}
	line("# %s %s %s R %v", unit, parameter, form, ohm)
	if v2 {
		line("[Number of Ports] 1")
		line("[Number of Frequencies] %d", len(points))
		line("[Network Data]")
	}
	norm := complex(1, 0)
	if v2 {
		norm = complex(ohm, 0)
	}
	for _, p := range points {
		v := p.S
		switch parameter {
		case "Z":
			v = norm * (1 + p.S) / (1 - p.S)
		case "Y":
			v = (1 - p.S) / (1 + p.S) / norm
		}
		a, c := real(v), imag(v)
		if form != "RI" {
			a, c = cmplx.Abs(v), cmplx.Phase(v)*180/math.Pi
		}
		if form == "DB" {
			a = 20 * math.Log10(a)
		}
		line("%s %v %v ! comment", strconv.FormatFloat(p.MHz, 'f', -1, 64)+map[string]string{"MHz": "", "kHz": "e3", "Hz": "e6", "GHz": "e-3"}[unit], a, c)
	}
	if v2 {
		line("[End]")
	}
	return b.String()
}

// What is written is read, whatever the form, to the roundings of the conversions.
func TestReadsWhatIsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var points []Point
		mhz := 0.
		for range rapid.IntRange(1, 20).Draw(t, "points") {
			mhz += float64(rapid.IntRange(1, 1_000_000).Draw(t, "step"))
			m, turn := rapid.Float64Range(0.001, 0.98).Draw(t, "magnitude"), rapid.Float64Range(0, 6.28).Draw(t, "angle")
			points = append(points, Point{MHz: mhz / 1000, S: cmplx.Rect(m, turn)})
		}
		pick := func(of ...string) string { return rapid.SampledFrom(of).Draw(t, of[0]) }
		ohm := float64(rapid.IntRange(1, 600).Draw(t, "ohm"))
		v2 := rapid.Bool().Draw(t, "version 2")
		text := write(points, pick("MHz", "kHz", "Hz", "GHz"), pick("S", "Z", "Y"), pick("RI", "MA", "DB"), ohm, v2, pick("\n", "\r\n", "\r"))
		f, err := Read(strings.NewReader(text))
		require.NoError(t, err, text)
		require.Equal(t, ohm, f.ReferenceOhm)
		require.Len(t, f.Points, len(points))
		for i, p := range f.Points {
			require.Equal(t, points[i].MHz, p.MHz, "the point is moved in the text, so no digit is lost")
			require.InDelta(t, 0, cmplx.Abs(points[i].S-p.S), 1e-11)
		}
	})
}

func FuzzRead(f *testing.F) {
	names, err := filepath.Glob("testdata/*.s1p")
	require.NoError(f, err)
	for _, name := range names {
		text, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		got, err := Read(strings.NewReader(string(text)))
		if err != nil {
			var bad *Error
			require.ErrorAs(t, err, &bad)
			require.GreaterOrEqual(t, bad.Line, 1)
			return
		}
		require.NotEmpty(t, got.Points)
		require.True(t, slices.IsSortedFunc(got.Points, func(a, b Point) int { return int(math.Copysign(1, a.MHz-b.MHz)) }))
		again, err := Read(strings.NewReader(write(got.Points, "MHz", "S", "RI", got.ReferenceOhm, got.Version == "2.0", "\n")))
		require.NoError(t, err)
		require.Equal(t, len(got.Points), len(again.Points))
		for i, p := range again.Points {
			require.Equal(t, got.Points[i].MHz, p.MHz)
			require.Equal(t, got.Points[i].S, p.S, "written in full digits, the same values are read")
		}
	})
}

func BenchmarkRead(b *testing.B) {
	var points []Point
	for i := range 10_000 {
		points = append(points, Point{MHz: 1 + float64(i)/1000, S: cmplx.Rect(0.3, float64(i)/100)})
	}
	for _, form := range []string{"RI", "DB"} {
		b.Run(form, func(b *testing.B) {
			text := write(points, "Hz", "S", form, 50, false, "\n")
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Read(strings.NewReader(text)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
