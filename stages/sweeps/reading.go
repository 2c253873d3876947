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

// referenceOhm is what SWR and return loss refer to.
const referenceOhm = 50.0

// largest bounds the ohms, ratios and dB that are believed: no display shows more.
const largest = 1e6

// reading is one row.
type reading struct {
	file           File
	line           int
	mhz            float64
	r, x           *float64
	swr, low, high *float64
	returnLossDB   *float64
	mismatchLossDB *float64
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
	var err error
	text := from.text("frequency_mhz")
	if r.mhz, err = delimited.FrequencyMHz(text, unit); err != nil {
		return &cellFault{"frequency_mhz", text, err}
	}
	shown := match.Interval{Lo: 1, Hi: math.Inf(1)}
	for _, take := range []func(row, *match.Interval) *cellFault{r.takeSWR, r.takeReturnLoss, r.takeImpedance} {
		if bad := take(from, &shown); bad != nil {
			return bad
		}
	}
	if from.text("swr") == "" && r.returnLossDB == nil && (r.r == nil || r.x == nil) {
		return &cellFault{err: errors.New("the row shows neither SWR nor return loss nor resistance and reactance")}
	}
	r.complete(shown)
	return nil
}

func (r *reading) takeSWR(from row, shown *match.Interval) *cellFault {
	text := from.text("swr")
	if text == "" {
		return nil
	}
	swr, err := number(text, 1)
	if err != nil {
		return &cellFault{"swr", text, err}
	}
	r.swr = &swr
	return narrow(shown, match.Displayed(swr, delimited.DecimalPlaces(text)), "swr", text, from)
}

func (r *reading) takeReturnLoss(from row, shown *match.Interval) *cellFault {
	text := from.text("return_loss_db")
	if text == "" {
		return nil
	}
	db, err := number(text, 0)
	if err != nil {
		return &cellFault{"return_loss_db", text, err}
	}
	r.returnLossDB = &db
	return narrow(shown, match.SWRFromReturnLoss(match.Displayed(db, delimited.DecimalPlaces(text))), "return_loss_db", text, from)
}

func (r *reading) takeImpedance(from row, shown *match.Interval) *cellFault {
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
	return narrow(shown, swrOfShown(*r.r, delimited.DecimalPlaces(textR), *r.x, delimited.DecimalPlaces(textX)), "r_ohm", textR, from)
}

// swrOfShown gives the SWRs that belong to a resistance and a reactance as displayed. The impedances of an SWR of at
// most s fill a disk (Pozar, Microwave Engineering, section 2.4: circles of constant reflection): the greatest SWR of a
// rectangle of impedances is at a corner. The least is at the smallest |x|, and there at the resistance nearest to
// sqrt(z0^2 + x^2), where the reflection at a given reactance is smallest.
func swrOfShown(r float64, decimalsR int, x float64, decimalsX int) match.Interval {
	ohms := match.Displayed(r, decimalsR)
	reactance := match.Displayed(math.Abs(x), decimalsX)
	ohms.Lo, reactance.Lo = math.Max(0, ohms.Lo), math.Max(0, reactance.Lo)
	highest := 1.0
	for _, corner := range []float64{ohms.Lo, ohms.Hi} {
		highest = math.Max(highest, swrOf(corner, reactance.Hi))
	}
	best := math.Sqrt(float64(referenceOhm*referenceOhm) + float64(reactance.Lo*reactance.Lo))
	return match.Interval{Lo: swrOf(min(max(best, ohms.Lo), ohms.Hi), reactance.Lo), Hi: highest}
}

func swrOf(r, x float64) float64 { return match.SWR(match.Reflection(complex(r, x), referenceOhm)) }

// narrow holds what one figure allows against what those before it allow.
func narrow(shown *match.Interval, by match.Interval, column, text string, from row) *cellFault {
	both, ok := match.Intersect(*shown, by)
	if !ok {
		return &cellFault{column, text, fmt.Errorf("%s can't all be right; check the row", from.figures())}
	}
	*shown = both
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
func (r *reading) complete(shown match.Interval) {
	var swr float64
	switch {
	case r.swr != nil:
		swr = *r.swr
	case r.returnLossDB != nil:
		swr = match.ReturnLossDBToSWR(*r.returnLossDB)
	default:
		swr = swrOf(*r.r, *r.x)
	}
	r.swr = finite(swr)
	if r.returnLossDB == nil {
		r.returnLossDB = finite(match.SWRToReturnLossDB(swr))
	}
	r.mismatchLossDB = finite(match.MismatchLossDB(complex(match.SWRToMagnitude(swr), 0)))
	r.low, r.high = finite(shown.Lo), finite(shown.Hi)
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
