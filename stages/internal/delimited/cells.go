package delimited

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// CellError says why a cell can't be read.
type CellError struct {
	// Value is the cell as it stands in the file.
	Value string
	// What is wrong with it.
	What string
	// Mend says what to write.
	Mend string
}

// Error gives the value, what is wrong with it and the mend.
func (e *CellError) Error() string { return quoted(e.Value) + " " + e.What + ": " + e.Mend }

// Float reads a decimal number, with an exponent or without. Blanks around it are no matter. NaN, infinity,
// hexadecimal, digit separators and units are refused.
func Float(s string) (float64, error) {
	t := strings.TrimSpace(s)
	if !isDecimal(t) {
		return 0, notDecimal(s, t)
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil {
		return 0, &CellError{s, "is too large for a number", "correct it"}
	}
	return v, nil
}

// isDecimal tells whether s is sign, digits with at most one point, exponent; the first and the last are optional.
func isDecimal(s string) bool {
	i, digits := 0, 0
	if s != "" && (s[0] == '-' || s[0] == '+') {
		i++
	}
	for point := false; i < len(s) && (isDigit(s[i]) || s[i] == '.' && !point); i++ {
		if s[i] == '.' {
			point = true
		} else {
			digits++
		}
	}
	if digits == 0 {
		return false
	}
	if i == len(s) {
		return true
	}
	if s[i] != 'e' && s[i] != 'E' {
		return false
	}
	exponent := s[i+1:]
	if exponent != "" && (exponent[0] == '-' || exponent[0] == '+') {
		exponent = exponent[1:]
	}
	return exponent != "" && strings.Trim(exponent, "0123456789") == ""
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

// notDecimal names the common ways of writing a number that is none here.
func notDecimal(s, t string) error {
	point := strings.Replace(t, ",", ".", 1)
	ascii := strings.ReplaceAll(t, "\u2212", "-")
	switch {
	case t == "":
		return &CellError{s, "is empty", "write a number"}
	case strings.Count(t, ",") == 1 && isDecimal(point):
		return &CellError{s, "has a decimal comma", "write " + point}
	case strings.Contains(t, ",") && isDecimal(strings.ReplaceAll(t, ",", "")):
		return &CellError{s, "has commas between its digits", "write " + strings.ReplaceAll(t, ",", "")}
	case ascii != t && isDecimal(ascii):
		return &CellError{s, "has a typographic minus sign", "write " + ascii}
	}
	if i := strings.IndexAny(t, " \u00a0"); i > 0 && isDecimal(t[:i]) {
		return &CellError{s, "has something behind the number", "write " + t[:i] + ", and the unit in the experiment file"}
	}
	return &CellError{s, "is not a number", "write digits with at most one decimal point"}
}

// scaled reads a number times a power of ten. The point is moved in the text, so that 54000.001 kHz and 54.000001 MHz
// are the same number.
func scaled(s string, power int) (float64, error) {
	if _, err := Float(s); err != nil || power == 0 {
		return Float(s)
	}
	mantissa, exponent := strings.TrimSpace(s), 0
	if i := strings.IndexAny(mantissa, "eE"); i >= 0 {
		var err error
		if exponent, err = strconv.Atoi(mantissa[i+1:]); err != nil {
			return 0, &CellError{s, "has an exponent out of range", "correct it"}
		}
		mantissa = mantissa[:i]
	}
	return Float(mantissa + "e" + strconv.Itoa(exponent+power))
}

// FrequencyMHz reads a frequency above 0 in "Hz", "kHz" or "MHz" and gives it in MHz.
func FrequencyMHz(s, unit string) (float64, error) {
	power := 0
	switch unit {
	case "Hz":
		power = -6
	case "kHz":
		power = -3
	case "MHz":
	default:
		return 0, fmt.Errorf(`unit %q is not one of frequency: write "Hz", "kHz" or "MHz"`, unit)
	}
	v, err := scaled(s, power)
	if err != nil {
		return 0, err
	}
	if v <= 0 {
		return 0, &CellError{s, "is not a frequency", "write one above 0, in " + unit}
	}
	return v, nil
}

// Limits of a power in dBm: from a thousandth of a picowatt to a megawatt, far beyond what amateurs send.
const (
	minDBm = -120
	maxDBm = 90
)

// PowerW reads a power in "W", "mW" (above 0) or "dBm" (decibels above one milliwatt) and gives it in watts. From dBm
// it is rounded to 12 significant digits, so that it does not depend on the machine's arithmetic.
func PowerW(s, unit string) (float64, error) {
	power := 0
	switch unit {
	case "W", "dBm":
	case "mW":
		power = -3
	default:
		return 0, fmt.Errorf(`unit %q is not one of power: write "W", "mW" or "dBm"`, unit)
	}
	v, err := scaled(s, power)
	switch {
	case err != nil:
		return 0, err
	case unit == "dBm":
		return fromDBm(s, v)
	case v <= 0:
		return 0, &CellError{s, "is not a power", "write one above 0, in " + unit}
	}
	return v, nil
}

func fromDBm(s string, dbm float64) (float64, error) {
	if dbm < minDBm || dbm > maxDBm {
		return 0, &CellError{s, "is not a power in dBm", fmt.Sprintf("write one from %d to %d, for example 37 for 5 W", minDBm, maxDBm)}
	}
	w, err := strconv.ParseFloat(strconv.FormatFloat(math.Pow(10, (dbm-30)/10), 'e', 11, 64), 64)
	if err != nil {
		return 0, fmt.Errorf("rounding %v dBm: %w", dbm, err)
	}
	return w, nil
}

// Limits of a ratio of signal to noise in dB. What lies outside is another quantity.
const (
	MinSNRdB = -60
	MaxSNRdB = 80
)

// SNR reads a ratio of signal to noise in dB, fractions allowed.
func SNR(s string) (float64, error) {
	v, err := Float(s)
	if err != nil {
		return 0, err
	}
	if v < MinSNRdB || v > MaxSNRdB {
		return 0, &CellError{s, "is not a ratio of signal to noise in dB", fmt.Sprintf("write one from %d to %d, or name the column that holds it", MinSNRdB, MaxSNRdB)}
	}
	return v, nil
}

// DecimalPlaces gives the digits behind the decimal point of a number that Float reads, so that it stands for what lies
// within half a unit of the last one: 2 for "1.50", 1 for "1.50e1", -2 for "1.5e3". It is 0 for text that is no number.
func DecimalPlaces(s string) int {
	t := strings.TrimSpace(s)
	if !isDecimal(t) {
		return 0
	}
	exponent := 0
	if i := strings.IndexAny(t, "eE"); i >= 0 {
		var err error
		if exponent, err = strconv.Atoi(t[i+1:]); err != nil {
			return 0
		}
		t = t[:i]
	}
	_, behind, _ := strings.Cut(t, ".")
	return len(behind) - exponent
}
