package rehearsal

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// stamped is the moment that a report of a slot is stamped with. A stamp within the slot stands two fifths behind its
// start, on a whole second.
func stamped(slot time.Time, length time.Duration, timeIs string) time.Time {
	switch timeIs {
	case "slot end":
		return slot.Add(length)
	case "within slot":
		return slot.Add((length * 2 / 5).Truncate(time.Second))
	}
	return slot
}

// stamp writes a time in the layout of a table: rfc3339, unix, unix_ms, or YYYY MM DD hh mm ss with what stands between
// them. Fractions of a second are kept where the layout has room for them.
func stamp(layout string, t time.Time) string {
	t = t.UTC()
	switch layout {
	case "rfc3339":
		return t.Format(time.RFC3339Nano)
	case "unix":
		text := strconv.FormatInt(t.Unix(), 10)
		if ms := t.Nanosecond() / 1e6; ms > 0 {
			text += fmt.Sprintf(".%03d", ms)
		}
		return text
	case "unix_ms":
		return strconv.FormatInt(t.UnixMilli(), 10)
	}
	return strings.NewReplacer("YYYY", t.Format("2006"), "MM", t.Format("01"), "DD", t.Format("02"),
		"hh", t.Format("15"), "mm", t.Format("04"), "ss", t.Format("05")).Replace(layout)
}

// hasSeconds tells whether a layout tells the second.
func hasSeconds(layout string) bool {
	return layout == "rfc3339" || strings.HasPrefix(layout, "unix") || strings.Contains(layout, "ss")
}

// halves parts what a layout for two columns gives, at its last blank: the reader joins the two cells by one blank.
func halves(text string) (first, second string, ok bool) {
	i := strings.LastIndexByte(text, ' ')
	if i < 0 {
		return text, "", false
	}
	return text[:i], text[i+1:], true
}
