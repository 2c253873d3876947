package experiments

import (
	"math"
	"slices"
	"strings"
	"time"
)

// band is one row of the ADIF band enumeration.
type band struct {
	name           string
	fromMHz, toMHz float64 // edges, MHz
}

// bands are the amateur bands from 2190 m to 70 cm: ADIF 3.1.6, Band enumeration. Higher bands are left out,
// since their waves do not reach a station by the ionosphere.
var bands = []band{
	{"2190m", 0.1357, 0.1378}, {"630m", 0.472, 0.479}, {"560m", 0.501, 0.504}, {"160m", 1.8, 2.0},
	{"80m", 3.5, 4.0}, {"60m", 5.06, 5.45}, {"40m", 7.0, 7.3}, {"30m", 10.1, 10.15}, {"20m", 14.0, 14.35},
	{"17m", 18.068, 18.168}, {"15m", 21.0, 21.45}, {"12m", 24.89, 24.99}, {"10m", 28.0, 29.7},
	{"8m", 40, 45}, {"6m", 50, 54}, {"5m", 54.000001, 69.9}, {"4m", 70, 71}, {"2m", 144, 148},
	{"1.25m", 222, 225}, {"70cm", 420, 450},
}

func bandNames() []string {
	names := make([]string, len(bands))
	for i, b := range bands {
		names[i] = b.name
	}
	return names
}

// findBand gives the band of a name in any case.
func findBand(name string) (band, bool) {
	for _, b := range bands {
		if strings.EqualFold(b.name, name) {
			return b, true
		}
	}
	return band{}, false
}

// wavelengthM is the wavelength, in metres, in the middle of the band.
func (b band) wavelengthM() float64 {
	const speedOfLightMMHz = 299.792458 // m/s * 1e-6, exact by the definition of the metre
	return speedOfLightMMHz / ((b.fromMHz + b.toMHz) / 2)
}

// modeSlots are the modes whose slot is fixed. Modes that exist with slots of several lengths, and all
// others, need slot_s. Names: ADIF 3.1.6, Mode and Submode enumerations. Slots of FT4 and FT8: Franke, Somerville,
// Taylor (2020), The FT4 and FT8 Communication Protocols, QEX July/August.
var modeSlots = map[string]time.Duration{
	"FT4":  7500 * time.Millisecond,
	"FT8":  15 * time.Second,
	"JT4":  time.Minute,
	"JT9":  time.Minute,
	"JT65": time.Minute,
	"WSPR": 2 * time.Minute,
}

// openModes are modes of fixed slots that come in several lengths: slot_s says which.
var openModes = []string{"FST4", "FST4W", "JS8", "MSK144", "Q65"}

// oneWay are the modes in which a station sends and is not answered.
var oneWay = []string{"FST4W", "WSPR"}

// modeSlot gives the slot of a mode, if the mode has only one.
func modeSlot(mode string) (time.Duration, bool) {
	slot, ok := modeSlots[mode]
	return slot, ok
}

// cutFor gives the level above which whatever was sent counts as decoded, dB in 2500 Hz: 2 to 4 dB above the
// level where half of the transmissions of steady signals decode. There is none for other slots, nor for
// modes that are not known.
func cutFor(mode string, slot time.Duration) (float64, bool) {
	_, one := modeSlots[mode]
	if !one && !slices.Contains(openModes, mode) {
		return 0, false
	}
	switch slot {
	case 7500 * time.Millisecond:
		return -14.5, true
	case 15 * time.Second:
		return -18, true
	case time.Minute:
		return -21, true
	case 2 * time.Minute:
		return -25, slices.Contains(oneWay, mode)
	}
	return 0, false
}

// ownSlots counts the slots of a dwell in which the station sends: those that begin at or after the settle time
// and end by the dwell's end. A dwell starts on any slot edge, so that with every other slot the
// smaller of the two counts is given.
func ownSlots(dwell, settle, slot time.Duration, sends string) int {
	n := int(dwell/slot) - int(math.Ceil(float64(settle)/float64(slot)))
	if sends == "even slots" || sends == "odd slots" {
		n /= 2
	}
	return max(n, 0)
}

// dwellFor is the shortest dwell that leaves a number of own slots.
func dwellFor(own int, settle, slot time.Duration, sends string) time.Duration {
	if sends == "even slots" || sends == "odd slots" {
		own *= 2
	}
	return slot * time.Duration(own+int(math.Ceil(float64(settle)/float64(slot))))
}

// BandMHz is the upper edge of a band, MHz; false for a band that is not known.
func (e *Experiment) BandMHz(name string) (float64, bool) {
	b, ok := findBand(name)
	return b.toMHz, ok
}
