package spots

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"fairlobe/stages/internal/adif"
	"fairlobe/stages/internal/delimited"
	"fairlobe/stages/internal/locator"
)

// settleBand holds band and frequency against each other; the band follows from the frequency where it is not told.
func (r *row) settleBand() error {
	if math.IsNaN(r.frequencyMHz) {
		if r.band == "" {
			return errors.New("the row tells neither band nor frequency")
		}
		return nil
	}
	band, ok := adif.BandOf(r.frequencyMHz)
	switch {
	case !ok:
		return fmt.Errorf("the frequency %s MHz lies in no amateur band; check the unit of the column", plainMHz(r.frequencyMHz))
	case r.band != "" && r.band != band:
		return fmt.Errorf("the frequency %s MHz lies in %s, not in %s", plainMHz(r.frequencyMHz), band, r.band)
	}
	r.band = band
	return nil
}

// plainMHz writes a frequency without a power of ten: who left out the unit has millions of them.
func plainMHz(mhz float64) string { return strconv.FormatFloat(mhz, 'f', -1, 64) }

// The longest call and name of a mode that are read.
const (
	maxCall = 20
	maxMode = 40
)

// callSign reads a call in capitals by the rule that package adif keeps: letters, digits and single strokes inside,
// with at least one letter and one digit.
func callSign(s string) (string, error) {
	letter, digit, stroke := false, false, true // a stroke can't come first
	call := upper(s)
	for i := range len(call) {
		switch c := call[i]; {
		case 'A' <= c && c <= 'Z':
			letter, stroke = true, false
		case '0' <= c && c <= '9':
			digit, stroke = true, false
		case c == '/' && !stroke:
			stroke = true
		default:
			return "", notCall(s)
		}
	}
	if !letter || !digit || stroke || len(call) > maxCall {
		return "", notCall(s)
	}
	return call, nil
}

func notCall(s string) error {
	return fmt.Errorf("%q is not a call sign: letters, digits and single strokes inside, at least one letter and one digit, at most %d characters",
		clean(s, maxShown), maxCall)
}

// upper turns ASCII letters into capitals and no others: a letter such as the dotless i must not become one of ASCII.
func upper(s string) string {
	return strings.Map(func(r rune) rune {
		if 'a' <= r && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, s)
}

func bandName(s string) (string, error) {
	low := strings.ToLower(s)
	if _, _, ok := adif.BandEdges(low); !ok {
		return "", fmt.Errorf("%q is not a band; write it as in ADIF, for example 20m", clean(s, maxShown))
	}
	return low, nil
}

func modeName(s string) (string, error) {
	if len(s) > maxMode {
		return "", fmt.Errorf("%q is too long for a mode; at most %d characters", clean(s, maxShown), maxMode)
	}
	return upper(s), nil
}

// slotLength reads the length of a mode's transmit period in seconds; none is longer than a day.
func slotLength(s string) (float64, error) {
	v, err := delimited.Float(s)
	if err != nil {
		return 0, err
	}
	if v <= 0 || v > 86400 {
		return 0, fmt.Errorf("%g s is not the length of a slot", v)
	}
	return v, nil
}

func canonical(s string) (string, error) {
	cell, err := locator.Decode(s)
	return cell.Text, err
}

// position reads latitude and longitude, in degrees, from the two columns of a field.
func (p *place) position(f *field, values []string) error {
	if len(f.at) != 2 {
		return errors.New("a position needs two columns, latitude and longitude")
	}
	lat, err := delimited.Float(values[f.at[0]])
	if err != nil {
		return fmt.Errorf("latitude %w", err)
	}
	lon, err := delimited.Float(values[f.at[1]])
	if err != nil {
		return fmt.Errorf("longitude %w", err)
	}
	if lat < -90 || lat > 90 || lon < -180 || lon > 180 {
		return fmt.Errorf("latitude %g, longitude %g is no place; latitude goes to 90, longitude to 180 degrees", lat, lon)
	}
	if lon == 180 {
		lon = -180 // one meridian, one number
	}
	p.lat, p.lon = lat+0, lon+0 // +0 for -0
	return nil
}
