package locator

import (
	"fmt"
	"math/big"
	"regexp"
	"strconv"
)

// decimal is what a coordinate may look like: no exponent, and few enough digits to keep sums small.
var decimal = regexp.MustCompile(`^[+-]?([0-9]{1,9}(\.[0-9]{0,30})?|\.[0-9]{1,30})$`)

// EncodeText gives the locator of 2 to 12 characters for a latitude (-90 to 90) and a longitude (any turn) in
// degrees as decimal text ("-33.125"). The result is exact: a position on an edge belongs to the cell north or
// east of it. Its error is an [*Error], except for a bad number of characters.
func EncodeText(latText, lonText string, chars int) (string, error) {
	lat, err := parse("latitude", latText)
	if err != nil {
		return "", err
	}
	lon, err := parse("longitude", lonText)
	if err != nil {
		return "", err
	}
	return encode(lat, lon, chars)
}

// Encode is [EncodeText] for floating-point degrees. Each is taken as the shortest decimal number that reads
// back as the same float64, so that 8.7 means 8.7 and not the binary fraction beside it.
func Encode(latDeg, lonDeg float64, chars int) (string, error) {
	lat, err := shortest("latitude", latDeg)
	if err != nil {
		return "", err
	}
	lon, err := shortest("longitude", lonDeg)
	if err != nil {
		return "", err
	}
	return encode(lat, lon, chars)
}

// coordinate is a number of degrees with the text it came from.
type coordinate struct {
	text string
	deg  *big.Rat
}

func parse(name, text string) (coordinate, error) {
	if decimal.MatchString(text) {
		if deg, ok := new(big.Rat).SetString(text); ok {
			return coordinate{text, deg}, nil
		}
	}
	return coordinate{}, notDecimal(name, text)
}

func shortest(name string, v float64) (coordinate, error) {
	text := strconv.FormatFloat(v, 'g', -1, 64)
	if deg, ok := new(big.Rat).SetString(text); ok {
		return coordinate{text, deg}, nil
	}
	return coordinate{}, notDecimal(name, text) // NaN and the infinities
}

func encode(lat, lon coordinate, chars int) (string, error) {
	if chars < 2 || chars > maxChars || chars%2 != 0 {
		return "", fmt.Errorf("encoding a locator: %d characters asked for, not 2, 4, 6, 8, 10 or 12", chars)
	}
	if new(big.Rat).Abs(lat.deg).Cmp(big.NewRat(90, 1)) > 0 {
		return "", &Error{"latitude", lat.text, "lies outside -90 to 90 degrees", "write degrees, north positive, for example 43.625"}
	}
	return write(lat.deg, lon.deg, chars), nil
}

// write finds column and row among all cells of this length, and spells them from the last pair to the first.
func write(lat, lon *big.Rat, chars int) string {
	cells := int64(1)
	for _, st := range steps[:chars/2] {
		cells *= st.count
	}
	column := floorMod(cellsFrom(lon, 180, 360, cells), cells)
	row := min(cellsFrom(lat, 90, 180, cells).Int64(), cells-1)
	text := make([]byte, chars)
	for i := chars - 2; i >= 0; i -= 2 {
		st := steps[i/2]
		text[i], text[i+1] = st.first+byte(column%st.count), st.first+byte(row%st.count)
		column, row = column/st.count, row/st.count
	}
	return string(text)
}

// cellsFrom gives the whole cells between the corner of the world and deg: floor((deg + offset) cells / span).
func cellsFrom(deg *big.Rat, offset, span, cells int64) *big.Int {
	v := new(big.Rat).Add(deg, big.NewRat(offset, 1))
	v.Mul(v, big.NewRat(cells, span))
	return new(big.Int).Div(v.Num(), v.Denom()) // Euclidean: rounds down for a positive denominator
}

func floorMod(v *big.Int, m int64) int64 { return v.Mod(v, big.NewInt(m)).Int64() }
