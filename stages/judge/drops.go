package judge

import (
	"fmt"
	"slices"
	"strings"

	"fairlobe/datasets"
)

// A drop that is entered after somebody has looked at the data may have been made for what they show. So the trial is
// judged twice: without the blocks that only such drops take out, and with them. Where the two verdicts differ the drop
// would decide, and the verdict is "undecided"; where they agree the first stands, with the smaller reach of the two.

// OtherVerdict is what would have been found if the drops entered after the first look had not been made.
type OtherVerdict struct {
	Verdict    string   `json:"verdict"`
	ReasonCode string   `json:"reason_code"`
	Reason     string   `json:"reason"`
	Blocks     int      `json:"blocks"`
	EstimateDB *float64 `json:"estimate_db"`
	IntervalDB *Range   `json:"interval_db"`
	P          *float64 `json:"p"`
	PAdjusted  *float64 `json:"p_adjusted"`
}

// droppedLate tells by the reason of a dwell whether only drops entered after the first look take it out.
func droppedLate(reason *string) bool {
	return reason != nil && strings.HasPrefix(*reason, datasets.ReasonDroppedLate)
}

// lateBlocks counts the blocks on a band that only late drops take out, over all bands if none is named.
func (d *data) lateBlocks(band string) int {
	n := 0
	for _, b := range d.blocks {
		if b.late && (band == "" || b.band == band) {
			n++
		}
	}
	return n
}

// withoutLateDrops is the trial as it would be without them.
func (d *data) withoutLateDrops() *data {
	other := *d
	other.blocks = slices.Clone(d.blocks)
	for i := range other.blocks {
		if b := &other.blocks[i]; b.late {
			b.kept, b.lost = true, false
		}
	}
	other.receptions = slices.Concat(d.receptions, d.lateReceptions)
	other.intake.Used += len(d.lateReceptions)
	if d.trial.Late != nil {
		other.trial.Losses = d.trial.Late.Losses
	}
	return &other
}

// weighDrops holds the verdicts against those of the trial without the late drops; others are entries of the same claims
// and bands.
func (c *court) weighDrops(entries, others []*Entry) {
	for i, e := range entries {
		if e.Kind != "match" {
			c.weighDrop(e, others[i])
		}
	}
}

func (c *court) weighDrop(e, other *Entry) {
	e.WithoutLateDrops = &OtherVerdict{other.Verdict, other.ReasonCode, other.Reason, other.Blocks, other.EstimateDB, other.IntervalDB, other.P, other.PAdjusted}
	blocks, them := dropWords(c.lateBlocks(e.Band))
	if e.Verdict != other.Verdict || e.favours() != other.favours() {
		e.conclude(Undecided, "late_drop_decides", fmt.Sprintf("%s, and a drop after a look must not decide; without %s the verdict is %s, \"%s\"; with %s it is %s, \"%s\"",
			blocks, them, e.Verdict, e.Reason, them, other.Verdict, other.Reason))
		e.warn("dropped_after_look", blocks)
		c.takeBack(e)
		return
	}
	if e.reaches(Beyond) && !other.reaches(Beyond) {
		e.Verdict, e.narrow = "", true
		c.decide(e)
	}
	if c.lateBlocks(e.Band) > 0 {
		e.warn("dropped_after_look", fmt.Sprintf("%s; with %s the verdict is the same", blocks, them))
	}
}

// takeBack takes out of an entry what is shown of a verdict that stands only.
func (c *court) takeBack(e *Entry) {
	if e.reaches(Beyond) {
		*e.Reach = TheseReceivers
	}
	if e.Directivity == nil || e.AllRound == nil {
		return
	}
	e.AllRound = nil
	if e.Lobe != nil {
		e.Lobe.TowardDeg, e.Lobe.TowardIn = nil, nil
	}
}

// dropWords says how many blocks late drops take out; on this band none may be, and another band's p values may still
// move those here.
func dropWords(n int) (blocks, them string) {
	const when = "dropped after the data had been looked at"
	switch n {
	case 0:
		return "blocks on another band were " + when, "them"
	case 1:
		return "1 block was " + when, "it"
	}
	return fmt.Sprintf("%d blocks were %s", n, when), "them"
}

// favours names the arm that a level verdict finds stronger; "" where none is found, or the kind asks for something else.
func (e *Entry) favours() string {
	if e.Kind != "level" || e.Verdict != Different {
		return ""
	}
	better, _, _ := e.ranked()
	return better
}

func (e *Entry) reaches(reach string) bool { return e.Reach != nil && *e.Reach == reach }
