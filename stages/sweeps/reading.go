package sweeps

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"fairlobe/stages/internal/delimited"
	"fairlobe/stages/internal/match"
)

// largest bounds the ohms, ratios and dB that are believed: no display shows more.
const largest = 1e6

// reading is one row, at one plane.
type reading struct {
	file           *File
	line           int
	plane          string
	measured       bool
	mhz            float64
	r, x           *float64
	swr, low, high *float64
	returnLossDB   *float64
	mismatchLossDB *float64
	lineLossDB     *float64

	// shown are the SWRs that the figures allow; shownR and shownX the resistances and reactances.
	shown          match.Interval
	shownR, shownX match.Interval
	// exact tells that gamma, the reflection coefficient against the reading's reference, was read, not a display.
	exact bool
	gamma complex128
}

// cell tells where a name on the left stands: in a column, or as one value for every row.
type cell struct {
	at    int
	unit  string
	value *string
}

// cellFault is what is wrong with a row, under the name on the left that it concerns.
type cellFault struct {
	column, value string
	err           error
}

// row is a line's text by the names on the left.
type row struct {
	values []string
	cells  map[string]cell
}

func (r row) text(name string) string {
	c, ok := r.cells[name]
	switch {
	case !ok:
		return ""
	case c.value != nil:
		return strings.TrimSpace(*c.value)
	}
	return strings.TrimSpace(r.values[c.at])
}

// parse fills the reading from the cells.
func (r *reading) parse(values []string, cells map[string]cell) *cellFault {
	from := row{values, cells}
	unit := cells["frequency_mhz"].unit
	if unit == "" {
		unit = "MHz"
	}
	r.plane, r.measured = r.file.Plane, true
	var err error
	text := from.text("frequency_mhz")
	if r.mhz, err = delimited.FrequencyMHz(text, unit); err != nil {
		return &cellFault{"frequency_mhz", text, err}
	}
	r.shown = match.Interval{Lo: 1, Hi: math.Inf(1)}
	for _, take := range []func(row) *cellFault{r.takeSWR, r.takeReturnLoss, r.takeImpedance} {
		if bad := take(from); bad != nil {
			return bad
		}
	}
	if from.text("swr") == "" && r.returnLossDB == nil && (r.r == nil || r.x == nil) {
		return &cellFault{err: errors.New("the row shows neither SWR nor return loss nor resistance and reactance")}
	}
	r.complete()
	return nil
}

func (r *reading) takeSWR(from row) *cellFault {
	text := from.text("swr")
	if text == "" {
		return nil
	}
	swr, err := number(text, 1)
	if err != nil {
		return &cellFault{"swr", text, err}
	}
	r.swr = &swr
	return r.narrow(match.Displayed(swr, delimited.DecimalPlaces(text)), "swr", text, from)
}

func (r *reading) takeReturnLoss(from row) *cellFault {
	text := from.text("return_loss_db")
	if text == "" {
		return nil
	}
	db, err := number(text, 0)
	if err != nil {
		return &cellFault{"return_loss_db", text, err}
	}
	r.returnLossDB = &db
	return r.narrow(match.SWRFromReturnLoss(match.Displayed(db, delimited.DecimalPlaces(text))), "return_loss_db", text, from)
}

func (r *reading) takeImpedance(from row) *cellFault {
	textR, textX := from.text("r_ohm"), from.text("x_ohm")
	if textR != "" {
		v, err := number(textR, 0)
		if err != nil {
			return &cellFault{"r_ohm", textR, err}
		}
		r.r = &v
	}
	if textX != "" {
		v, err := number(textX, -largest)
		if err != nil {
			return &cellFault{"x_ohm", textX, err}
		}
		r.x = &v
	}
	if textR == "" || textX == "" {
		return nil
	}
	r.shownR = match.Displayed(*r.r, delimited.DecimalPlaces(textR))
	r.shownX = reactances(*r.x, delimited.DecimalPlaces(textX))
	return r.narrow(match.SWRWithin(r.shownR, r.shownX, r.file.reference()), "r_ohm", textR, from)
}

// reactances gives those that a displayed one may stand for: a display cuts towards 0, and of one that shows 0 the sign
// is not known.
func reactances(x float64, decimals int) match.Interval {
	size := match.Displayed(math.Abs(x), decimals)
	switch {
	case size.Lo < 0:
		return match.Interval{Lo: -size.Hi, Hi: size.Hi}
	case x < 0:
		return match.Interval{Lo: -size.Hi, Hi: -size.Lo}
	}
	return size
}

// narrow holds what one figure allows against what those before it allow.
func (r *reading) narrow(by match.Interval, column, text string, from row) *cellFault {
	both, ok := match.Intersect(r.shown, by)
	if !ok {
		return &cellFault{column, text, fmt.Errorf("%s can't all be right; check the row", from.figures())}
	}
	r.shown = both
	return nil
}

// figures names what the row shows.
func (r row) figures() string {
	var parts []string
	for _, f := range [][3]string{{"swr", "an SWR of ", ""}, {"return_loss_db", "a return loss of ", " dB"}} {
		if text := r.text(f[0]); text != "" {
			parts = append(parts, f[1]+clean(text)+f[2])
		}
	}
	if re, im := r.text("r_ohm"), r.text("x_ohm"); re != "" && im != "" {
		parts = append(parts, fmt.Sprintf("an impedance of %s and %s ohm", clean(re), clean(im)))
	}
	return strings.Join(parts, ", ")
}

// complete fills in what follows from what was shown.
func (r *reading) complete() {
	var swr float64
	switch {
	case r.swr != nil:
		swr = *r.swr
	case r.returnLossDB != nil:
		swr = match.ReturnLossDBToSWR(*r.returnLossDB)
	default:
		swr = match.SWR(match.Reflection(complex(*r.r, *r.x), r.file.reference()))
	}
	r.swr = finite(swr)
	if r.returnLossDB == nil {
		r.returnLossDB = finite(match.SWRToReturnLossDB(swr))
	}
	r.mismatchLossDB = finite(match.MismatchLossDB(complex(match.SWRToMagnitude(swr), 0)))
	r.low, r.high = finite(r.shown.Lo), finite(r.shown.Hi)
}

// finite gives nil for what is no number, as the SWR of a short.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

func number(text string, least float64) (float64, error) {
	v, err := delimited.Float(text)
	switch {
	case err != nil:
		return 0, err
	case v < least:
		return 0, fmt.Errorf("%s is too small; it is at least %g", clean(text), least)
	case v > largest:
		return 0, fmt.Errorf("%s is too large; it is at most %g", clean(text), largest)
	}
	return v, nil
}

// clean gives a text as UTF-8, cut to a readable length.
func clean(s string) string {
	const most = 400
	if len(s) > most {
		cut := most
		for cut > most-utf8.UTFMax && !utf8.RuneStart(s[cut]) {
			cut--
		}
		s = s[:cut] + "..."
	}
	return strings.Clone(strings.ToValidUTF8(s, "\uFFFD"))
}
