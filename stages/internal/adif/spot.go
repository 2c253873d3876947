package adif

import "fmt"

// spots makes the spots of a record that nothing refused.
func (p *parser) spots(c *contact) {
	p.rec.Call, p.rec.Station, p.rec.Time = c.call, c.station, c.when
	if !c.db {
		name := c.mode
		if c.submode != "" {
			name += " " + c.submode
		}
		p.rec.NoSpot = "mode " + name + " gives no report in dB"
		return
	}
	swl := p.isListener()
	spots := p.rec.spots[:0]
	if db, ok := p.reportOf(fieldRSTSent); ok {
		s := p.spot(c, db, fieldRSTSent)
		s.Band, s.FrequencyMHz = c.bandRx, c.freqRx
		s.Transmitter, s.Receiver, s.TransmitterLocator, s.ReceiverLocator, s.PowerW = c.call, c.station, c.grid, c.myGrid, c.rxPower
		spots = append(spots, s)
	}
	if db, ok := p.reportOf(fieldRSTRcvd); ok && !swl {
		s := p.spot(c, db, fieldRSTRcvd)
		s.Band, s.FrequencyMHz = c.band, c.freq
		s.Transmitter, s.Receiver, s.TransmitterLocator, s.ReceiverLocator, s.PowerW = c.station, c.call, c.myGrid, c.grid, c.txPower
		spots = append(spots, s)
	}
	if len(spots) > 0 {
		p.rec.Spots = spots
		return
	}
	p.rec.NoSpot = p.whyNone(swl)
}

// isListener tells whether the record is a listener's: the contacted station then gave no report.
func (p *parser) isListener() bool {
	v, _ := p.value(fieldSWL)
	return isUpper(v, "Y")
}

// whyNone says why a record in a mode with reports in dB gives no spot.
func (p *parser) whyNone(swl bool) string {
	sent, rcvd := p.field(fieldRSTSent) != nil, p.field(fieldRSTRcvd) != nil
	switch {
	case !sent && !rcvd:
		return "no report in RST_SENT or RST_RCVD"
	case !sent && swl:
		return "a listener's record (SWL) without a report in RST_SENT"
	}
	return "no report in dB in RST_SENT or RST_RCVD"
}

func (p *parser) spot(c *contact, db float64, from fieldID) Spot {
	return Spot{Record: p.rec.N, Line: p.rec.Line, Time: c.when, HasSeconds: c.seconds, Mode: c.mode, Submode: c.submode, SNRdB: db,
		From: from.String()}
}

// maxReport is the greatest report in dB that is believed without a sign. The weak-signal modes send less than 50;
// 55 to 59 is the voice report that logs fill in by themselves.
const maxReport = 49

// reportOf reads a report in dB: one or two digits with a sign or without.
func (p *parser) reportOf(id fieldID) (db float64, ok bool) {
	v, f := p.value(id)
	if f == nil {
		return 0, false
	}
	number, minus, signed := v, v[0] == '-', v[0] == '-' || v[0] == '+'
	if signed {
		number = v[1:]
	}
	n, ok := digits(number)
	if !ok || len(number) < 1 || len(number) > 2 || !signed && n > maxReport {
		p.odd("report-not-db", f, "is not a report in dB; no spot is made of it", "write the number of dB, for example -12")
		return 0, false
	}
	if minus {
		n = -n
	}
	return float64(n), true
}

// gridOf reads a locator with its extension; "" if there is none that can be used.
func (p *parser) gridOf(id, ext fieldID) string {
	v, f := p.value(id)
	e, x := p.value(ext)
	var buf [12]byte
	n := 0
	if f != nil {
		n = p.grid(buf[:], v, f)
	}
	if x != nil {
		n += p.gridExt(buf[:], n, e, x)
	}
	if n == 0 {
		return ""
	}
	return p.text(buf[:n])
}

// grid writes a locator of up to 8 characters into buf and gives its length.
func (p *parser) grid(buf, v []byte, f *field) int {
	if n := writeLocator(buf[:8], v, 0); len(v) <= 12 && len(v)%2 == 0 && n == min(len(v), 8) {
		if len(v) > 8 {
			p.odd("normalised", f, "is longer than 8 characters and is cut", "write the rest into "+f.id.String()+"_EXT")
		}
		return n
	}
	p.odd("bad-gridsquare", f, "is not a locator; the field is dropped", "write 2, 4, 6 or 8 characters, for example JJ00aa")
	return 0
}

// gridExt writes characters 9 to 12 behind the n that are there.
func (p *parser) gridExt(buf []byte, n int, v []byte, f *field) int {
	if n != 8 {
		p.odd("bad-gridsquare", f, "extends no locator of 8 characters; the field is dropped", "write all 8 characters into the field without _EXT")
		return 0
	}
	want := min(len(v), 4)
	if len(v)%2 != 0 || writeLocator(buf[8:], v, 8) != want {
		p.odd("bad-gridsquare", f, "is not the end of a locator; the field is dropped", "write 2 or 4 characters: letters A to X, then digits")
		return 0
	}
	if len(v) > 4 {
		p.odd("normalised", f, "is longer than 4 characters and is cut", "write 2 or 4 characters")
	}
	return want
}

// writeLocator writes the characters of v that stand from the given place of a locator into buf, as AA00aa00aa00, and
// gives how many there are before buf ends or one is impossible.
func writeLocator(buf, v []byte, place int) int {
	n := 0
	for ; n < len(v) && n < len(buf); n++ {
		c := v[n]
		switch pair := (place + n) / 2; {
		case pair%2 == 1:
			if c < '0' || c > '9' {
				return n
			}
		case pair == 0:
			if c &^= 0x20; c < 'A' || c > 'R' {
				return n
			}
		default:
			if c |= 0x20; c < 'a' || c > 'x' {
				return n
			}
		}
		buf[n] = c
	}
	return n
}

// powerOf reads a transmitter's power in watts into w; nil if there is none that can be used.
func (p *parser) powerOf(id fieldID, w *float64) *float64 {
	v, f := p.value(id)
	if f == nil {
		return nil
	}
	n, ok := number64(v)
	switch {
	case !ok:
		p.odd("bad-number", f, "is not a number; the field is dropped", decimalMend(v))
	case n <= 0:
		p.odd("bad-number", f, "is not a power; the field is dropped", "write the power in watts, above 0")
	default:
		*w = n
		return w
	}
	return nil
}

// checkAngle looks at an angle of the antenna, which no spot rests on.
func (p *parser) checkAngle(id fieldID, lo, hi float64) {
	v, f := p.value(id)
	if f == nil {
		return
	}
	n, ok := number64(v)
	switch {
	case !ok:
		p.odd("bad-number", f, "is not a number; the field is dropped", decimalMend(v))
	case n < lo || n > hi:
		p.odd("normalised", f, fmt.Sprintf("lies outside %g to %g degrees", lo, hi), "write the same direction as an angle inside; no spot rests on it")
	}
}
