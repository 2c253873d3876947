package contrast

import "math"

const (
	// LaggingDB is the ceiling where nothing better is known: above it reports lag more and more behind the signal, since a
	// strong one raises the noise that it is measured against. Assumed; common practice doubts reports above +10 dB.
	LaggingDB = 5
	// SoftDB is how far below the cut half of the transmissions are decoded.
	SoftDB = 3
)

const (
	// forgivenDB is the error of a difference below which no guard is needed: a fifth of the bias that an estimate may have.
	forgivenDB = 0.02
	// What a guard keeps out, as a share of the difference: near the decoding threshold a tenth at most is lost, of lagging
	// reports a half.
	softShare, laggingShare = 0.1, 0.5
)

// guards are the levels between which reports show the whole of a difference.
type guards struct{ cutDB, ceilingDB float64 }

func (t *Trial) guards() guards { return guards{t.params.CutDB, t.params.CeilingDB} }

// guardsNear are those for the test of an offset. What decoder and receiver do to weak and strong reports they do to both
// arms: it takes a share off each difference, and nothing off none. So the nearer an offset is to 0 the less there is to guard
// against, and at 0 the test is exact without; the reports outside of the guards then tell, too. What it looks at is the
// same with the arms exchanged.
func (t *Trial) guardsNear(offsetDB float64) guards {
	g := t.guards()
	o := math.Abs(offsetDB)
	if o*softShare < forgivenDB {
		g.cutDB = min(g.cutDB, t.params.DecodedDB)
	}
	if o*laggingShare*t.lagging < forgivenDB {
		g.ceilingDB = math.Inf(1)
	}
	return g
}
