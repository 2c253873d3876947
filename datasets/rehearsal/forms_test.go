package rehearsal

import (
	"math"
	"math/cmplx"
	"path"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/experiments"
)

func TestFileName(t *testing.T) {
	for _, c := range []struct {
		pattern string
		n       int
		want    string // "" if there is none
	}{
		{"spots/*.adi", 0, "spots/reports.adi"},
		{"spots/*.adi", 2, "spots/reports-2.adi"},
		{"spots/heard-*.csv.gz", 2, "spots/heard-2.csv.gz"},
		{"spots/heard-*.csv.gz", 0, "spots/heard-1.csv.gz"},
		{"*/a*b*.csv", 3, "reports-3/a3b3.csv"},
		{"all.csv", 0, "all.csv"},
		{"day-??.csv", 0, "day-11.csv"},
		{"[a-c]x[^1].csv", 0, "ax2.csv"},
		{`\[x\]-*.csv`, 1, "[x]-1.csv"},
		{"[A-", 1, ""},
		{"[é].csv", 1, ""},
		{"./spots/*.csv", 1, ""},
		{"../*.csv", 1, ""},
		{".spots/*.csv", 1, ""},
		{"c:*.csv", 1, ""},
	} {
		got, ok := fileName(c.pattern, "reports", c.n)
		require.Equal(t, c.want != "", ok, c.pattern)
		if ok {
			require.Equal(t, c.want, got)
			match, err := path.Match(c.pattern, got)
			require.NoError(t, err)
			require.True(t, match)
		}
	}
}

func TestFileNamesFit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pattern := rapid.StringMatching(`([a-z*?/.-]|\[[a-z]-z\]|\\[*?x]){1,12}`).Draw(t, "pattern")
		if name, ok := fileName(pattern, "log", rapid.IntRange(0, 20).Draw(t, "n")); ok {
			if match, err := path.Match(pattern, name); err != nil || !match || !filepath.IsLocal(name) {
				t.Fatalf("%q does not name %q", pattern, name)
			}
		}
	})
}

func TestStamps(t *testing.T) {
	at := time.Date(2026, 9, 2, 4, 5, 7, 500_000_000, time.UTC) // 1788321907 s: date -u -d 2026-09-02T04:05:07Z +%s
	for layout, want := range map[string]string{
		"rfc3339":             "2026-09-02T04:05:07.5Z",
		"unix":                "1788321907.500",
		"unix_ms":             "1788321907500",
		"YYYY-MM-DD hh:mm:ss": "2026-09-02 04:05:07",
		"DD/MM/YYYYThh.mm":    "02/09/2026T04.05",
		"hhmmss YYYYMMDD":     "040507 20260902",
	} {
		require.Equal(t, want, stamp(layout, at), layout)
	}
	require.Equal(t, "1788321907", stamp("unix", at.Truncate(time.Second)))
}

func TestStampedLiesWhereItSays(t *testing.T) {
	slot := time.Date(2026, 9, 2, 4, 5, 0, 0, time.UTC)
	for _, length := range []time.Duration{7500 * time.Millisecond, 15 * time.Second, 2 * time.Minute} {
		require.Equal(t, slot, stamped(slot, length, "slot start"))
		require.Equal(t, slot.Add(length), stamped(slot, length, "slot end"))
		within := stamped(slot, length, "within slot")
		require.True(t, within.After(slot) && within.Before(slot.Add(length)))
	}
}

// The square's middle, by the definition of the locator (IARU Region 1, Tampa 1980): corners of the map, and the place of the demos.
func TestCentre(t *testing.T) {
	for _, c := range []struct {
		locator             string
		latitude, longitude float64
	}{
		{"AA00aa", -90 + 1.25/60, -180 + 2.5/60},
		{"RR99xx", 90 - 1.25/60, 180 - 2.5/60},
		{"MN83", 43.5, 77},
		{"MN83kp", 43.645833333333336, 76.875},
		{"JJ00aa00", 1.25 / 600, 2.5 / 600},
		{"JJ00aa00aa", 1.25 / 600 / 24, 2.5 / 600 / 24},
	} {
		latitude, longitude := centre(c.locator)
		require.InDelta(t, c.latitude, latitude, 1e-12, c.locator) // a few roundings of a sum
		require.InDelta(t, c.longitude, longitude, 1e-12, c.locator)
	}
}

// A line without loss of a quarter wavelength gives z0^2/Z, one of half a wavelength Z again (Pozar, Microwave Engineering, section 2.3).
func TestLineWithoutLoss(t *testing.T) {
	const mhz = 10.0
	quarter := 0.66 * 299.792458 / mhz / 4
	z := complex(100, 30)
	lossless := experiments.Loss{DB: 0, AtMHz: 14, VelocityFactor: 0.66, Z0Ohm: 50}
	near := func(want, got complex128) {
		require.InDelta(t, real(want), real(got), 1e-9) // roundings of tan near its pole
		require.InDelta(t, imag(want), imag(got), 1e-9)
	}
	near(2500/z, line{quarter, lossless}.input(z, mhz))
	near(z, line{2 * quarter, lossless}.input(z, mhz))
	near(z, line{}.input(z, mhz))
	near(50, line{7, experiments.Loss{DB: 4, AtMHz: 14, VelocityFactor: 0.66, Z0Ohm: 50}}.input(50, 28))
}

// A reflection crosses the matched loss twice: the SWR seen at the radio is that of |g| 10^(-L/10) (the relation
// between return loss and matched loss; Pozar, section 2.7). True SWR, matched loss in dB, SWR seen.
func TestLineWithLoss(t *testing.T) {
	for _, c := range [][3]float64{{2, 0.5, 1.85}, {3, 1, 2.3}, {5, 2, 2.5}, {20, 3, 2.7}, {10, 0.25, 7.8}} {
		l := line{12.5, experiments.Loss{DB: c[1] * 8, AtMHz: 14, VelocityFactor: 0.66, Z0Ohm: 50}}
		seen := swr(l.input(complex(50*c[0], 0), 14), 50)
		require.InDelta(t, c[2], seen, 0.05, "%v", c) // the figures have two digits
		double := swr(line{12.5, experiments.Loss{DB: c[1] * 4, AtMHz: 3.5, VelocityFactor: 0.66, Z0Ohm: 50}}.input(complex(50*c[0], 0), 14), 50)
		require.InDelta(t, seen, double, 1e-9, "twice the loss at four times the frequency")
	}
}

// An invented match is a match: its SWR at the feedpoint stays below that of the edges, and they are within the limit.
func TestResonances(t *testing.T) {
	for _, b := range bands() {
		for n := range 20 {
			r := resonanceOf(stream(uint64(n), b.name), b, 75)
			highest := r.highest()
			require.LessOrEqual(t, highest, edgeSWR)
			require.Greater(t, highest, swr(r.at(r.atMHz), 75), "a flat line would be no antenna")
			for i := range 101 {
				mhz := b.fromMHz + (b.toMHz-b.fromMHz)*float64(i)/100
				require.LessOrEqual(t, swr(r.at(mhz), 75), highest+1e-9, "%s at %g MHz", b.name, mhz)
			}
			require.InDelta(t, r.ohm, real(r.at(r.atMHz)), 1e-12)
			require.InDelta(t, 0, imag(r.at(r.atMHz)), 1e-9)
		}
	}
}

// What an analyser shows on its displays comes from one reflection: |g| = (s-1)/(s+1) = 10^(-RL/20) (Pozar, section 2.3).
func TestDisplaysAgree(t *testing.T) {
	b, _ := bandNamed("20m")
	r := resonanceOf(stream(1, "x"), b, 50)
	for _, one := range sweep([]resonance{r}, line{12, experiments.Loss{DB: 4, AtMHz: 14, VelocityFactor: 0.66, Z0Ohm: 50}}) {
		g := cmplx.Abs(reflection(one.z, 50))
		require.InDelta(t, (swr(one.z, 50)-1)/(swr(one.z, 50)+1), g, 1e-12)
		cells := readingRow(one, 50, "kHz")
		require.InDelta(t, one.mhz*1000, number(t, cells["frequency_mhz"][0]), 0.01)
		require.InDelta(t, -20*math.Log10(g), number(t, cells["return_loss_db"][0]), 0.05)
		require.InDelta(t, real(one.z), number(t, cells["r_ohm"][0]), 0.05)
		require.InDelta(t, imag(one.z), number(t, cells["x_ohm"][0]), 0.05)
	}
}
