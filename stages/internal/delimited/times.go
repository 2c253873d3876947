package delimited

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// clock holds the parts of a time, by token.
type clock [numTokens]int

// utc makes a time, or names the part that is impossible.
func (c *clock) utc(s string) (time.Time, error) {
	switch {
	case c[year] < 1:
		return time.Time{}, &CellError{s, "has the year 0", "write the year with four digits"}
	case c[month] < 1 || c[month] > 12:
		return time.Time{}, &CellError{s, fmt.Sprintf("has the month %d", c[month]), "see whether day and month are the other way round"}
	case c[day] < 1 || c[day] > daysIn(c[year], c[month]):
		return time.Time{}, &CellError{s, fmt.Sprintf("has the day %d in a month of %d", c[day], daysIn(c[year], c[month])), "see whether day and month are the other way round"}
	case c[hour] > 23 || c[minute] > 59:
		return time.Time{}, &CellError{s, fmt.Sprintf("has the time of day %02d:%02d", c[hour], c[minute]), "write 00:00 to 23:59; midnight is 00:00 of the new day"}
	case c[second] == 60:
		return time.Time{}, &CellError{s, "is a leap second", "write 59 for the second, or 00 of the next minute"}
	case c[second] > 59:
		return time.Time{}, &CellError{s, fmt.Sprintf("has the second %d", c[second]), "write 00 to 59"}
	}
	return time.Date(c[year], time.Month(c[month]), c[day], c[hour], c[minute], c[second], 0, time.UTC), nil
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

// rfc3339 reads a date-time of RFC 3339 (Klyne, Newman 2002), section 5.6. T may be a blank (its note on readability).
// Digits behind the nanosecond are cut.
func rfc3339(s, text string) (time.Time, error) {
	var c clock
	rest, ok := text, true
	for _, p := range [...]part{{token: year}, {literal: '-'}, {token: month}, {literal: '-'}, {token: day}, {literal: 'T'},
		{token: hour}, {literal: ':'}, {token: minute}, {literal: ':'}, {token: second}} {
		if p.token == literal {
			ok = rest != "" && (rest[0] == p.literal || p.literal == 'T' && (rest[0] == 't' || rest[0] == ' '))
			rest = rest[min(1, len(rest)):]
		} else if c[p.token], ok = number(rest, len(tokenNames[p.token])); ok {
			rest = rest[len(tokenNames[p.token]):]
		}
		if !ok {
			return time.Time{}, &CellError{s, "is not a time of RFC 3339", "write 2026-02-03T12:00:15Z, or give the time_layout of this column"}
		}
	}
	nanos, rest, ok := fraction(rest)
	if !ok {
		return time.Time{}, &CellError{s, "has a decimal point without digits", "write the fraction of the second, or leave out the point"}
	}
	offset, err := offsetOf(s, rest)
	if err != nil {
		return time.Time{}, err
	}
	t, err := c.utc(s)
	if err != nil {
		return time.Time{}, err
	}
	return t.Add(time.Duration(nanos) - offset), nil
}

// fraction reads a point and digits from the start of s, as nanoseconds. No point is no fault.
func fraction(s string) (nanos int, rest string, ok bool) {
	if s == "" || s[0] != '.' {
		return 0, s, true
	}
	i, scale := 1, 100_000_000
	for ; i < len(s) && isDigit(s[i]); i++ {
		nanos += int(s[i]-'0') * scale
		scale /= 10
	}
	return nanos, s[i:], i > 1
}

// offsetOf reads Z, +hh:mm or -hh:mm, the whole of zone.
func offsetOf(s, zone string) (time.Duration, error) {
	if zone == "Z" || zone == "z" {
		return 0, nil
	}
	if zone == "" {
		return 0, &CellError{s, "has no time zone", "write Z behind it if the clock was UTC, else the offset, for example +02:00"}
	}
	h, okH := number(zone[1:], 2)
	colon := len(zone) == 6 && zone[3] == ':'
	if (zone[0] == '+' || zone[0] == '-') && okH && colon {
		if m, okM := number(zone[4:], 2); okM && h < 24 && m < 60 {
			d := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
			if zone[0] == '-' {
				d = -d
			}
			return d, nil
		}
	}
	return 0, &CellError{s, fmt.Sprintf("has %s where the offset from UTC belongs", quoted(zone)), "write Z or an offset such as +02:00"}
}

// Counts that tell seconds and milliseconds apart: 1e11 s is in the year 5138, 1e11 ms in 1973.
const (
	maxUnix   = 100_000_000_000
	maxUnixMs = maxUnix * 1000
)

// unix reads a count of seconds or milliseconds since 1970, and asks when it looks like the other one.
func (l TimeLayout) unix(s, text string) (time.Time, error) {
	whole, behind, _ := strings.Cut(text, ".")
	nanos, rest, ok := fraction(text[len(whole):])
	v, errWhole := strconv.ParseUint(whole, 10, 63)
	if !ok || rest != "" || errWhole != nil || l.form == formUnixMs && behind != "" {
		return time.Time{}, &CellError{s, fmt.Sprintf("is not a count since 1970, which the layout %q says", l.text), "write digits, or give the time_layout of this column"}
	}
	switch {
	case l.form == formUnix && v >= maxUnix:
		return time.Time{}, &CellError{s, "is too large for seconds since 1970", `write time_layout = "unix_ms" if it counts milliseconds`}
	case l.form == formUnix:
		return time.Unix(int64(v), int64(nanos)).UTC(), nil
	case v < maxUnix:
		return time.Time{}, &CellError{s, "is too small for milliseconds since 1970", `write time_layout = "unix" if it counts seconds`}
	case v >= maxUnixMs:
		return time.Time{}, &CellError{s, "is too large for milliseconds since 1970", "correct the time"}
	}
	return time.UnixMilli(int64(v)).UTC(), nil
}
