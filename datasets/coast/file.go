package coast

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
)

// The file: the number of rings; for each ring its number of points, the closing one left out; then each point's
// longitude and latitude in hundredths of a degree, as the difference from the point before it in the file (from 0, 0
// for the first). Counts are unsigned varints, differences signed ones (zigzag), as in package encoding/binary.

// stepsPerDegree is the fineness of the file.
const stepsPerDegree = 100

// fewest is the number of points of the smallest ring, the closing one left out.
const fewest = 3

// step is a position in steps.
type step struct{ lon, lat int64 }

func (s step) within() bool {
	return s.lon >= -180*stepsPerDegree && s.lon <= 180*stepsPerDegree && s.lat >= -90*stepsPerDegree && s.lat <= 90*stepsPerDegree
}

func (s step) point() Point {
	return Point{LatDeg: float64(s.lat) / stepsPerDegree, LonDeg: float64(s.lon) / stepsPerDegree}
}

// Encode gives the file of some closed rings, rounded to 0.01 degree. Points that rounding has brought together become
// one, and rings of fewer than three points are left out.
func Encode(rings [][]Point) []byte {
	var kept [][]step
	for _, ring := range rings {
		if s := rounded(ring); len(s) >= fewest {
			kept = append(kept, s)
		}
	}
	out := binary.AppendUvarint(nil, uint64(len(kept)))
	var last step
	for _, ring := range kept {
		out = binary.AppendUvarint(out, uint64(len(ring)))
		for _, s := range ring {
			out = binary.AppendVarint(out, s.lon-last.lon)
			out = binary.AppendVarint(out, s.lat-last.lat)
			last = s
		}
	}
	return out
}

// rounded gives a ring in steps, without points that repeat and without the closing one.
func rounded(ring []Point) []step {
	var out []step
	for _, p := range ring {
		out = append(out, step{int64(math.Round(p.LonDeg * stepsPerDegree)), int64(math.Round(p.LatDeg * stepsPerDegree))})
	}
	out = slices.Compact(out)
	if n := len(out); n > 1 && out[0] == out[n-1] {
		out = out[:n-1]
	}
	return out
}

// Read reads a file that [Encode] made.
func Read(data []byte) (Coast, error) {
	r := reader{data}
	n, err := r.count()
	if err != nil {
		return Coast{}, fmt.Errorf("reading the number of coastlines: %w", err)
	}
	c := Coast{rings: make([][]Point, n)}
	var last step
	for i := range c.rings {
		if c.rings[i], err = r.ring(&last); err != nil {
			return Coast{}, fmt.Errorf("reading coastline %d of %d: %w", i+1, n, err)
		}
	}
	if len(r.rest) > 0 {
		return Coast{}, fmt.Errorf("%d bytes after the last coastline", len(r.rest))
	}
	return c, nil
}

type reader struct{ rest []byte }

var errCut = errors.New("the file ends too early or holds a damaged number")

// count reads how many things of at least one byte follow.
func (r *reader) count() (int, error) {
	v, n := binary.Uvarint(r.rest)
	if n <= 0 {
		return 0, errCut
	}
	r.rest = r.rest[n:]
	if v > uint64(len(r.rest)) {
		return 0, fmt.Errorf("%d announced, but only %d bytes follow", v, len(r.rest))
	}
	return int(v), nil
}

func (r *reader) ring(last *step) ([]Point, error) {
	n, err := r.count()
	if err != nil {
		return nil, err
	}
	if n < fewest {
		return nil, fmt.Errorf("%d points are no ring", n)
	}
	out := make([]Point, 0, n+1)
	for range n {
		if err := r.move(last); err != nil {
			return nil, err
		}
		out = append(out, last.point())
	}
	return append(out, out[0]), nil
}

// move reads the next position.
func (r *reader) move(s *step) error {
	lon, n := binary.Varint(r.rest)
	if n <= 0 {
		return errCut
	}
	lat, m := binary.Varint(r.rest[n:])
	if m <= 0 {
		return errCut
	}
	r.rest = r.rest[n+m:]
	s.lon += lon
	s.lat += lat
	if !s.within() {
		return fmt.Errorf("a point beyond the Earth: longitude step %d, latitude step %d", s.lon, s.lat)
	}
	return nil
}
