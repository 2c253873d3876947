package experiments

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLines(t *testing.T) {
	e, list := Load("ridge-wire.toml")
	require.Empty(t, list.Faults())
	assert.Equal(t, []string{"far end height: 2 m", "feedpoint height: 9 m", "slope azimuth: 300 deg"}, Lines(e.Arms[1].Variables, e.Arms[1].Other))
	held := Lines(e.Fixed.Variables, e.Fixed.Other)
	assert.Contains(t, held, "feedline loss: 4 dB at 14 MHz for 100 m, velocity factor 0.66, 50 ohm")
	assert.Contains(t, held, "power: 4 W")
	assert.Contains(t, held, "feed at: 0 of the wire, from its near end")
	assert.Contains(t, held, "transformer ratio: 49")
	assert.Contains(t, held, "radial count: 0")
}

func TestAbout(t *testing.T) {
	doc, unit := About("arm[].feedpoint_height_m")
	assert.Equal(t, "height of the wire's near end over ground", doc)
	assert.Equal(t, "m", unit)
	_, unit = About("schedule.dwell_min")
	assert.Equal(t, "min", unit)
	doc, unit = About("schedule.no_such_key")
	assert.Empty(t, doc+unit)
}
