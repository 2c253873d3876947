package adif

import (
	"bytes"
	"fmt"
)

// bandOf reads band and frequency, and in split operation those of the receiving side.
func (p *parser) bandOf(c *contact) {
	bandField, freqField := p.field(fieldBand), p.field(fieldFreq)
	c.band, c.freq = p.pairOf(fieldBand, fieldFreq, &p.rec.mhz[0])
	// Said only if nothing else refuses the record: a band that can't be read is no missing band.
	if c.band == "" && bandField == nil && freqField == nil && !p.refused {
		p.missing(fieldBand, " and no FREQ")
	}
	c.bandRx, c.freqRx = p.pairOf(fieldBandRx, fieldFreqRx, &p.rec.mhz[1])
	switch {
	case c.bandRx == "":
		c.bandRx, c.freqRx = c.band, c.freq
	case c.freqRx == nil && c.bandRx == c.band:
		c.freqRx = c.freq
	}
}

// pairOf reads a band and a frequency that must lie in it; either may be absent.
func (p *parser) pairOf(bandID, freqID fieldID, mhz *float64) (name string, freq *float64) {
	if v, f := p.value(bandID); f != nil {
		var ok bool
		if name, ok = bandNamed(v); !ok {
			p.wrong("unknown-band", f, "is not a band", `write a band as "20m" or "70cm"`)
		}
	}
	v, f := p.value(freqID)
	if f == nil {
		return name, nil
	}
	var ok bool
	if *mhz, ok = number64(v); !ok {
		p.wrong("bad-number", f, "is not a number", decimalMend(v))
		return name, nil
	}
	in, ok := BandOf(*mhz)
	switch {
	case !ok:
		p.wrong("frequency-outside-bands", f, "lies in no band", frequencyMend(*mhz))
	case name != "" && in != name:
		p.wrong("band-frequency-mismatch", f, fmt.Sprintf("lies in %s, and %s is %s", in, bandID, name), "correct the one that is wrong")
	}
	return in, mhz
}

func decimalMend(v []byte) string {
	if bytes.IndexByte(v, ',') >= 0 {
		return "write a decimal point, not a comma"
	}
	return "write digits with at most one decimal point, and no unit"
}

// frequencyMend asks whether a frequency in no band would lie in one as kHz or Hz.
func frequencyMend(mhz float64) string {
	const inMHz = "write FREQ in MHz"
	if in, ok := BandOf(mhz / 1e3); ok {
		return inMHz + "; as kHz it would lie in " + in
	}
	if in, ok := BandOf(mhz / 1e6); ok {
		return inMHz + "; as Hz it would lie in " + in
	}
	return inMHz
}
