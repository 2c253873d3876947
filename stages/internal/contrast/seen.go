package contrast

import "math"

// Seen is what the reports show at no difference, block by block and station by station. Both are views of
// the same cells: the sum over the blocks of M * DifferenceDB is the sum over the stations of Weight *
// DifferenceDB, and the sums of M and of the stations' weights are one number.
type Seen struct {
	Blocks   []BlockSeen   // every block of the trial, in order
	Stations []StationSeen // those with weight, by number
}

// BlockSeen is one block. Where nothing is censored, the mean of the blocks' differences, weighted by W, is the
// estimate of Level (to the precision of its root).
type BlockSeen struct {
	DifferenceDB float64 // Dbar of the method: sum of D over sum of a; NaN if no station was heard above the cut
	M            float64 // sum of a: stations heard, each with a weight of 1, 1/2 or 1/10
	W            float64 // weight in the estimate, m/(m + 10)
	Stations     int     // heard on either arm above the cut
}

// StationSeen is one station, over the blocks in which it was heard on either arm above the cut.
type StationSeen struct {
	Station      int     // its number
	DifferenceDB float64 // sum of D over sum of a, as for a block; at most 15 dB either way
	Weight       float64 // sum of a over the blocks
	Blocks       int
}

// Seen gives what the reports show.
func (t *Trial) Seen() Seen {
	c := t.newComparison()
	c.at(0)
	out := Seen{Blocks: make([]BlockSeen, t.params.Blocks)}
	for b := range out.Blocks {
		out.Blocks[b] = BlockSeen{DifferenceDB: math.NaN(), M: c.m[b], W: c.w[b]}
		if c.m[b] > 0 {
			out.Blocks[b].DifferenceDB = c.dbar[b]
		}
	}
	stations := make([]StationSeen, len(t.stations))
	for i, cell := range t.cells {
		if c.a[i] == 0 {
			continue
		}
		out.Blocks[cell.block].Stations++
		s := &stations[cell.station]
		s.Blocks++
		s.Weight += c.a[i]
		s.DifferenceDB += c.d[i]
	}
	for r, s := range stations {
		if s.Blocks > 0 {
			s.Station, s.DifferenceDB = r, s.DifferenceDB/s.Weight
			out.Stations = append(out.Stations, s)
		}
	}
	return out
}

// Negated is the same with the arms exchanged.
func (s Seen) Negated() Seen {
	blocks, stations := make([]BlockSeen, len(s.Blocks)), make([]StationSeen, len(s.Stations))
	for i, b := range s.Blocks {
		b.DifferenceDB = 0 - b.DifferenceDB
		blocks[i] = b
	}
	for i, r := range s.Stations {
		r.DifferenceDB = 0 - r.DifferenceDB
		stations[i] = r
	}
	return Seen{blocks, stations}
}

// Located is the trial of the stations with an azimuth, with their numbers unchanged: those that Directivity
// speaks of.
func (t *Trial) Located() *Trial {
	return t.restrict(func(s Station) bool { return s.HasAzimuth })
}
