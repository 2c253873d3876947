package judge

import (
	"fmt"
	"time"
)

// evidenceOf says how the arms were assigned, as far as it is proved. Only a seal made before the data proves that the
// order was drawn beforehand; without one the operator's word stands for it.
func (p Params) evidenceOf(d *data) (evidence, code, why string) {
	if len(p.Arms) < 2 {
		return Observed, "one_arm", "there is one arm only"
	}
	if p.Seal == SealOrder {
		return Observed, "order_not_sealed", "the order of the arms is not the one that was sealed"
	}
	if p.OrderFile {
		switch {
		case !p.OrderRandom:
			return Compared, "order_not_random", "the order was not drawn at random"
		case d.trial.PlainlyRegular != "":
			return Compared, "order_regular", "the order is said to be random, but " + d.trial.PlainlyRegular
		}
		return ByDeclaring, "order_declared", "the order was drawn elsewhere"
	}
	sealed := time.UnixMilli(p.SealedMs).UTC()
	switch {
	case p.Seal == SealNone:
		return ByDeclaring, "not_sealed", "the experiment was not sealed"
	case !sealed.Before(d.firstDwell):
		return ByDeclaring, "sealed_late", fmt.Sprintf("the seal was made at %s, after the trial began", sealed.Format("2006-01-02 15:04Z"))
	case p.Seal == SealChanged:
		return ByDeclaring, "seal_differs", "the experiment file was changed after it was sealed"
	}
	return Randomised, "", ""
}

// tested tells whether the evidence allows a test; otherwise the entry is refused with what was seen described.
func (c *court) tested(e *Entry) bool {
	switch c.evidence {
	case Randomised:
		return true
	case ByDeclaring:
		e.warn(c.code, c.why+": that the order was random is the operator's word")
		return true
	}
	mend := "draw the order at random and seal it before the next trial"
	if c.code == "order_not_sealed" {
		mend = "put the seed, the arms and the schedule back as they were sealed"
	}
	e.conclude(Refused, c.code, fmt.Sprintf("%s: described, not tested; %s", c.why, mend))
	return false
}
