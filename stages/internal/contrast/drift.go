package contrast

// Times are the middles of the times at which the two arms of a block were on the air, s from any one moment.
type Times struct{ FirstS, SecondS float64 }

// middle is the middle of the block.
func (w Times) middle() float64 { return (w.FirstS + w.SecondS) / 2 }

// driftStations is the number of stations whose drift is half believed, and taken off by half: a drift that few tell is more
// noise than drift. The belief is n^2/(n^2 + driftStations^2).
const driftStations = 10

// slope is where the drift of one block is read: at the stations heard in two blocks about it.
type slope struct {
	block int
	share float64 // time from arm A to arm B in the block, over the time from the one neighbour to the other
	pairs []pair
}

// pair are two cells of one station.
type pair struct{ earlier, later int }

// slopes finds for each block the one before and the one after; at the ends of the trial the block itself stands in for what
// is not there. With past only the block itself and the one before are looked at.
func (t *Trial) slopes(past bool) []slope {
	when := t.params.When
	if len(when) < 2 {
		return nil
	}
	from := make([]int, t.params.Blocks+1) // the first cell of each block
	for i, c := range t.cells {
		for b := c.block + 1; b < len(from); b++ {
			from[b] = i + 1
		}
	}
	var out []slope
	for b := range when {
		e, l := max(0, b-1), min(len(when)-1, b+1)
		if past {
			l = b
		}
		apart := when[l].middle() - when[e].middle()
		if apart <= 0 {
			continue
		}
		share := (when[b].SecondS - when[b].FirstS) / apart
		if share == 0 {
			continue
		}
		out = append(out, slope{b, share, t.pairs(from[e], from[e+1], from[l], from[l+1])})
	}
	return out
}

// pairs matches the cells of two blocks by station.
func (t *Trial) pairs(earlier, earlierEnd, later, laterEnd int) []pair {
	var out []pair
	for earlier < earlierEnd && later < laterEnd {
		switch x, y := t.cells[earlier].station, t.cells[later].station; {
		case x < y:
			earlier++
		case y < x:
			later++
		default:
			out = append(out, pair{earlier, later})
			earlier++
			later++
		}
	}
	return out
}

// takeDriftOff takes from every difference what the band's drift between the two dwells explains: the slope of the blocks'
// middles from the block before to the block after, over the time between the dwells. A block's middle is the mean of its two
// arms, which does not say which of them was first, so at the true offsets the drift is the same number however the coins
// fell: swapping the arms of a block still negates its differences, and the tests stay exact (covariance adjustment of a
// randomisation test: Rosenbaum, Covariance adjustment in randomized experiments and observational studies, Statistical
// Science 17, 2002). Only the part that the stations have in common is taken off: in all that is centred inside a block it
// drops out.
func (c *comparison) takeDriftOff() {
	clear(c.drift)
	for _, s := range c.slopes {
		sumD, sumA := 0.0, 0.0
		for _, p := range s.pairs {
			if min(c.a[p.earlier], c.a[p.later]) <= loneWeight { // half of the middle of a lone report is a guess
				continue
			}
			a := float64(c.a[p.earlier] * c.a[p.later])
			sumD += float64(a * max(-clipDB, min(clipDB, c.middle[p.earlier]-c.middle[p.later])))
			sumA += a
		}
		c.drift[s.block] = float64(s.share * believed(sumD, sumA))
	}
	for i, cell := range c.trial.cells {
		c.d[i] -= float64(c.a[i] * c.drift[cell.block])
	}
}

// believed is the mean sumD/n, pulled towards 0 where n is small.
func believed(sumD, n float64) float64 {
	return sumD * n / (float64(n*n) + driftStations*driftStations)
}
