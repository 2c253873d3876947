package world

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestPresets(t *testing.T) {
	trial := trialOf(4, "20m")
	usual := len(run(t, Default(), trial).Receptions)
	all := Scenarios()
	require.True(t, slices.IsSortedFunc(all, func(a, b Preset) int { return cmp.Compare(a.Name, b.Name) }))
	names := make([]string, len(all))
	for i, preset := range all {
		names[i] = preset.Name
		require.NotEmpty(t, preset.What)
		found, ok := Scenario(preset.Name)
		require.True(t, ok)
		require.Equal(t, preset.What, found.What)
		p := Default()
		preset.Set(&p)
		receptions := len(run(t, p, trial).Receptions)
		require.NotZero(t, receptions, preset.Name)
		switch preset.Name {
		case "quiet":
			require.Greater(t, receptions, usual)
		case "weak", "few", "unequal", "half-heard":
			require.Less(t, float64(receptions), 0.7*float64(usual), preset.Name)
		}
	}
	require.Equal(t, []string{"clustered", "everything", "few", "half-heard", "no-lag", "noise-steps", "quiet", "regional", "slow-fading", "thinned", "turning",
		"unequal", "usual", "weak"}, names)
	_, ok := Scenario("no such")
	require.False(t, ok)
}

func TestDefaultBands(t *testing.T) {
	for _, name := range []string{"160m", "80m", "60m", "40m", "30m", "20m", "17m", "15m", "12m", "10m", "6m"} {
		b, ok := DefaultBand(name)
		require.True(t, ok, name)
		require.Equal(t, name, b.Name)
		metres := 299.792458e6 / float64(b.Hz)
		wavelength, err := strconv.ParseFloat(strings.TrimSuffix(name, "m"), 64)
		require.NoError(t, err)
		require.InDelta(t, wavelength, metres, 0.08*wavelength, name)
		require.Positive(t, b.OpeningHours)
		require.Less(t, b.NearKm, b.FarKm)
	}
	_, ok := DefaultBand("11m")
	require.False(t, ok)
}

func TestErrorsAreInWords(t *testing.T) {
	for _, c := range []struct {
		want string
		set  func(*Params, *Trial)
	}{
		{"no station at all", func(p *Params, _ *Trial) { p.Stations = 0 }},
		{"10001 stations are more than 10000", func(p *Params, _ *Trial) { p.Stations = 10_001 }},
		{"found no land", func(p *Params, t *Trial) { t.LatitudeDeg, t.LongitudeDeg, p.FarthestKm = 30, -45, 500 }},
		{"no clusters", func(p *Params, _ *Trial) { p.Clusters = 0 }},
		{"they must rise", func(p *Params, _ *Trial) { p.NearestKm = 5000 }},
		{"path spread from 0", func(p *Params, _ *Trial) { p.SpreadLowHz = 0 }},
		{"DriftShared is 1.5: a share", func(p *Params, _ *Trial) { p.DriftShared = 1.5 }},
		{"LastShare and BestShare together", func(p *Params, _ *Trial) { p.LastShare, p.BestShare = 0.6, 0.6 }},
		{"SlowSD is NaN", func(p *Params, _ *Trial) { p.SlowSD = math.NaN() }},
		{"ReportEvery is 0s", func(p *Params, _ *Trial) { p.ReportEvery = 0 }},
		{"no decoding figures for slots of 20s", func(_ *Params, t *Trial) { t.Slot = 20 * time.Second }},
		{`PowerDB is told for arm "hihg"`, func(p *Params, _ *Trial) { p.PowerDB = map[string]float64{"hihg": 1} }},
		{"own place 91", func(_ *Params, t *Trial) { t.LatitudeDeg = 91 }},
		{`sends in "": it must be`, func(_ *Params, t *Trial) { t.Sends = "" }},
		{"1 bands and 0 dwells", func(_ *Params, t *Trial) { t.Dwells = nil }},
		{"stands twice", func(_ *Params, t *Trial) { t.Bands = append(t.Bands, t.Bands[0]) }},
		{"OpeningHours is 0", func(_ *Params, t *Trial) { t.Bands[0].OpeningHours = 0 }},
		{"no such band", func(_ *Params, t *Trial) { t.Dwells[1].Band = "15m" }},
		{`dwell 1 (session 1, 20m, block 1, position 2): the truth about arm "hihg"`, func(_ *Params, t *Trial) { t.Dwells[1].Arm = "hihg" }},
		{`arm "hihg" is not told, which was on before`, func(_ *Params, t *Trial) { t.Dwells[1].Before = "hihg" }},
		{"before it starts", func(_ *Params, t *Trial) { t.Dwells[1].End = t.Dwells[1].Start }},
		{"dwells 0 and 1 are on 20m at the same time", func(_ *Params, t *Trial) { t.Dwells[1].Start = t.Dwells[0].Start }},
	} {
		p, trial := Default(), trialOf(1, "20m")
		c.set(&p, &trial)
		o, err := Run(p, trial)
		require.Nil(t, o)
		require.ErrorContains(t, err, c.want)
	}
}
