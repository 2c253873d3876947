package adif

import (
	"fmt"
	"strconv"
	"time"
)

// contact is what the fields of a record say, checked.
type contact struct {
	call, station    string
	when             time.Time
	seconds          bool
	band, bandRx     string
	freq, freqRx     *float64
	mode, submode    string
	db               bool // reports are in dB
	grid, myGrid     string
	txPower, rxPower *float64
}

// check reads the fields of a whole record and makes its spots.
func (p *parser) check() {
	var c contact
	c.call = p.callOf(fieldCall)
	c.when, c.seconds = p.whenOf()
	c.station = p.stationOf()
	p.modeOf(&c)
	p.bandOf(&c)
	c.grid = p.gridOf(fieldGrid, fieldGridExt)
	c.myGrid = p.gridOf(fieldMyGrid, fieldMyGridExt)
	c.txPower = p.powerOf(fieldTxPower, &p.rec.pwr[0])
	c.rxPower = p.powerOf(fieldRxPower, &p.rec.pwr[1])
	p.checkAngle(fieldAzimuth, 0, 360)
	p.checkAngle(fieldElevation, -90, 90)
	if !p.refused {
		p.spots(&c)
	}
}

// value gives the data of a field without blanks around it, and the field; nil if it is absent or blank.
func (p *parser) value(id fieldID) ([]byte, *field) {
	f := p.field(id)
	if f == nil {
		return nil, nil
	}
	v := trim(f.data)
	if len(v) == len(f.data) {
		return v, f
	}
	p.doubt("blank-around-data", f.at, id.String(), shown(f.data), fmt.Sprintf("%s = %q has blanks around it", id, shown(f.data)),
		"nothing to do; the blanks are not used, but the length may be wrong")
	if len(v) == 0 {
		return nil, nil
	}
	return v, f
}

func trim(b []byte) []byte {
	for len(b) > 0 && b[0] <= ' ' {
		b = b[1:]
	}
	for len(b) > 0 && b[len(b)-1] <= ' ' {
		b = b[:len(b)-1]
	}
	return b
}

// need is value, and a fault if there is none.
func (p *parser) need(id fieldID) ([]byte, *field) {
	v, f := p.value(id)
	if f == nil {
		p.missing(id, "")
	}
	return v, f
}

func (p *parser) missing(id fieldID, or string) {
	p.fault("missing-field", p.first, id.String(), "", fmt.Sprintf("the record has no %s%s", id, or), fmt.Sprintf("export the log with %s", id))
}

// wrong refuses the record for the value of a field.
func (p *parser) wrong(kind string, f *field, why, mend string) {
	p.fault(kind, f.at, f.id.String(), shown(f.data), fmt.Sprintf("%s = %q %s", f.id, shown(f.data), why), mend)
}

// odd warns of the value of a field.
func (p *parser) odd(kind string, f *field, why, mend string) {
	p.doubt(kind, f.at, f.id.String(), shown(f.data), fmt.Sprintf("%s = %q %s", f.id, shown(f.data), why), mend)
}

// maxCall is longer than any call with a prefix and a suffix.
const maxCall = 20

// callOf reads a call that must be there.
func (p *parser) callOf(id fieldID) string {
	v, f := p.need(id)
	if f == nil {
		return ""
	}
	return p.call(v, f)
}

func (p *parser) call(v []byte, f *field) string {
	if !validCall(v) {
		p.wrong("bad-call", f, "is not a call: letters, digits and single slashes inside, at least one letter and one digit", "write the call as it was sent")
		return ""
	}
	var buf [maxCall]byte
	return p.text(upper(buf[:], v))
}

func validCall(b []byte) bool {
	if len(b) > maxCall {
		return false
	}
	letter, digit, slash := false, false, true // a slash can't come first
	for _, c := range b {
		switch {
		case '0' <= c && c <= '9':
			digit, slash = true, false
		case 'A' <= c && c <= 'Z', 'a' <= c && c <= 'z':
			letter, slash = true, false
		case c == '/' && !slash:
			slash = true
		default:
			return false
		}
	}
	return letter && digit && !slash
}

// stationOf reads the logging station: OPERATOR stands in for STATION_CALLSIGN, never the other way round.
func (p *parser) stationOf() string {
	if v, f := p.value(fieldStation); f != nil {
		return p.call(v, f)
	}
	if v, f := p.value(fieldOperator); f != nil {
		return p.call(v, f)
	}
	p.missing(fieldStation, " and no OPERATOR")
	return ""
}

// whenOf reads QSO_DATE and TIME_ON, both UTC.
func (p *parser) whenOf() (time.Time, bool) {
	d, date := p.need(fieldDate)
	t, clock := p.need(fieldTime)
	var year, month, day, h, m, s int
	if date != nil {
		var ok bool
		if year, month, day, ok = parseDate(d); !ok {
			p.wrong("bad-date", date, "is not a day since 1930", "write YYYYMMDD, in UTC")
		}
	}
	if clock != nil {
		var ok bool
		if h, m, s, ok = parseClock(t); !ok {
			p.wrong("bad-time", clock, "is not a time of day", "write HHMMSS, in UTC; leap seconds are not allowed")
		} else if len(t) == 4 {
			p.odd("time-without-seconds", clock, "has no seconds, so a slot shorter than a minute can't be told", "let the log write HHMMSS")
		}
	}
	if date == nil || clock == nil || p.refused {
		return time.Time{}, false
	}
	return time.Date(year, time.Month(month), day, h, m, s, 0, time.UTC), len(t) == 6
}

// parseDate reads YYYYMMDD, a day of the calendar from 1930 on (ADIF 3.1.6, Date).
func parseDate(b []byte) (year, month, day int, ok bool) {
	if len(b) != 8 {
		return 0, 0, 0, false
	}
	y, ok1 := digits(b[:4])
	m, ok2 := digits(b[4:6])
	d, ok3 := digits(b[6:])
	if !ok1 || !ok2 || !ok3 || y < 1930 || m < 1 || m > 12 || d < 1 || d > daysIn(y, m) {
		return 0, 0, 0, false
	}
	return y, m, d, true
}

func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// parseClock reads HHMM or HHMMSS.
func parseClock(b []byte) (h, m, s int, ok bool) {
	if len(b) != 4 && len(b) != 6 {
		return 0, 0, 0, false
	}
	h, ok1 := digits(b[:2])
	m, ok2 := digits(b[2:4])
	ok3 := true
	if len(b) == 6 {
		s, ok3 = digits(b[4:])
	}
	return h, m, s, ok1 && ok2 && ok3 && h < 24 && m < 60 && s < 60
}

func digits(b []byte) (n int, ok bool) {
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}

// number64 reads an ADIF Number: a minus or nothing, digits, at most one decimal point; no plus, exponent or comma.
func number64(b []byte) (float64, bool) {
	if len(b) > 30 {
		return 0, false
	}
	digit, point := false, false
	for i, c := range b {
		switch {
		case '0' <= c && c <= '9':
			digit = true
		case c == '.' && !point:
			point = true
		case c == '-' && i == 0:
		default:
			return 0, false
		}
	}
	if !digit {
		return 0, false
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}
