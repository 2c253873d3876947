package sweeps

import (
	"fmt"
	"slices"

	"fairlobe/stages/internal/match"
)

const (
	atRadio     = "radio"
	atFeedpoint = "feedpoint"
)

// removeFeedline adds to the readings of a file made at the radio, which stand from first on, what they mean at the
// feedpoint.
func (f File) removeFeedline(c *content, first int) {
	if f.Plane != atRadio || f.Feedline == nil {
		return
	}
	line := match.Line(*f.Feedline)
	measured := c.readings[first:]
	if at := slices.IndexFunc(measured, reading.withoutPhase); at >= 0 && line.Z0Ohm != f.reference() {
		c.notes = append(c.notes, f.warn(measured[at].line, "feedline_stays",
			fmt.Sprintf("the feedline can't be removed: it has %g ohm, SWR and return loss refer to %g ohm, and here they stand without resistance and reactance", line.Z0Ohm, f.reference()),
			"save resistance and reactance too, or measure at the feedpoint"))
		return
	}
	var doubtful []reading
	for _, r := range measured {
		there, possible := r.without(line)
		c.readings = append(c.readings, there)
		if !possible {
			doubtful = append(doubtful, r)
		}
	}
	if len(doubtful) > 0 {
		at := doubtful[0]
		c.notes = append(c.notes, f.warn(at.line, "feedline_doubtful",
			fmt.Sprintf("without the declared feedline, %d of %d readings would reflect more than arrives, first at %g MHz: the unit of the frequency, the declared loss or the reading is wrong", len(doubtful), len(measured), at.mhz),
			"check the unit of the frequency (without an option line's word it is GHz), feedline_length_m and feedline_loss_db_per_100m; calibrate the analyser and measure again"))
	}
}

func (r reading) withoutPhase() bool { return !r.exact && (r.r == nil || r.x == nil) }

// without gives the reading at the far end of the line. It is not possible if what was read would mean that more
// is reflected there than arrives, whatever the rounding; what was wrong before is not counted again.
func (r reading) without(line match.Line) (there reading, possible bool) {
	there = reading{file: r.file, line: r.line, plane: atFeedpoint, mhz: r.mhz}
	if r.exact {
		possible = there.exactly(r, line)
	} else {
		possible = there.asShown(r, line)
	}
	if !possible {
		there.leaveOpen(r, line)
	}
	return there, possible || r.exact && match.Magnitude(r.gamma) > 1
}

// exactly fills the reading at the far end from the reflection coefficient at the near end.
func (r *reading) exactly(near reading, line match.Line) bool {
	reference := r.file.reference()
	far := total(line.Load(match.Renormalise(near.gamma, reference, line.Z0Ohm), r.mhz))
	if match.Magnitude(far) > 1 {
		return false
	}
	r.takeReflection(match.Renormalise(far, line.Z0Ohm, reference))
	r.lineLossDB = finite(line.TotalLossDB(match.Magnitude(far), r.mhz))
	return true
}

// asShown fills the reading at the far end from displayed figures, by magnitude alone if the line has the impedance that
// they refer to.
func (r *reading) asShown(near reading, line match.Line) (possible bool) {
	reference := r.file.reference()
	var far complex128
	if !near.withoutPhase() {
		far = line.Load(match.Reflection(complex(*near.r, *near.x), line.Z0Ohm), r.mhz)
		if z, ok := match.Impedance(far, line.Z0Ohm); ok && match.Magnitude(far) <= 1 {
			re, im := real(z), imag(z)
			r.r, r.x = &re, &im
		}
	}
	var magnitude, inLine float64
	if line.Z0Ohm == reference {
		r.shown, possible = line.LoadSWR(near.shown, r.mhz)
		magnitude = line.LoadMagnitude(match.SWRToMagnitude(near.likeliest()), r.mhz)
		inLine = magnitude
	} else {
		r.shown, possible = line.LoadSWRWithin(near.shownR, near.shownX, reference, r.mhz)
		magnitude, inLine = match.Magnitude(match.Renormalise(far, line.Z0Ohm, reference)), match.Magnitude(far)
	}
	r.low, r.high = finite(r.shown.Lo), finite(r.shown.Hi)
	if magnitude <= 1 {
		gamma := complex(magnitude, 0)
		r.lineLossDB = finite(line.TotalLossDB(inLine, r.mhz))
		r.swr, r.returnLossDB, r.mismatchLossDB = finite(match.SWR(gamma)), finite(match.ReturnLossDB(gamma)), finite(match.MismatchLossDB(gamma))
	}
	return possible
}

// likeliest is the SWR as shown, moved to the nearest that all figures of the row allow; infinite without bound.
func (r reading) likeliest() float64 {
	swr := r.shown.Hi
	if r.swr != nil {
		swr = *r.swr
	}
	return min(max(swr, r.shown.Lo), r.shown.Hi)
}

// leaveOpen makes a reading that bounds as little as is known: whatever the line loses, the SWR at its far end is no less
// than at the near end, if it has the impedance that they refer to.
func (r *reading) leaveOpen(near reading, line match.Line) {
	r.r, r.x, r.swr, r.returnLossDB, r.mismatchLossDB, r.high = nil, nil, nil, nil, nil, nil
	r.low = finite(1)
	if line.Z0Ohm == r.file.reference() {
		r.low = near.low
	}
}
