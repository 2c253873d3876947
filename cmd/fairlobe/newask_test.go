package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/experiments/outline"
)

func someAnswers() newOptions {
	return newOptions{about: "height", Answers: outline.Answers{Folder: "w", Call: placeholderCall, Locator: placeholderLocator, Mode: "FT8",
		Bands: []string{"20m"}, PowerW: 5, SmallestDB: 1.5, SpotIntervalMin: 5, ChangeMin: 3, Start: time.Date(2026, 11, 26, 4, 0, 0, 0, time.UTC), Seed: 1}}
}

// What does not fit is asked for again, with the reason, and what was there before stays.
func TestAskNew(t *testing.T) {
	opt := someAnswers()
	var out bytes.Buffer
	in := strings.Join([]string{"9", "turned", "Q1RDG", "nowhere", "MN83kp", "20m, 11m", "20m, 10m", "-4", "4", "1,5", "", "0", "2", "tomorrow", "2026-11-27T04:00:00Z"}, "\n") + "\n"
	require.NoError(t, askNew(strings.NewReader(in), &out, "w.toml", &opt))
	want := someAnswers()
	want.about, want.Call, want.Locator, want.Bands = "turned", "Q1RDG", "MN83kp", []string{"20m", "10m"}
	want.PowerW, want.SpotIntervalMin, want.ChangeMin, want.Start = 4, 0, 2, time.Date(2026, 11, 27, 4, 0, 0, 0, time.UTC)
	require.Equal(t, want, opt)
	for _, said := range []string{"  a number from 1 to 8, or a name", "nowhere", "11m", "  a number, with a decimal point", "  a time as in 2026-09-12T04:00:00Z", "First slot, UTC [2026-11-26T04:00:00Z]: "} {
		require.Contains(t, out.String(), said)
	}
}

func TestAskNewCutShort(t *testing.T) {
	opt := someAnswers()
	require.ErrorIs(t, askNew(strings.NewReader("1\nQ1RDG"), &bytes.Buffer{}, "w.toml", &opt), errNoAnswer)
}
