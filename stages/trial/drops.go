package trial

import (
	"slices"
	"strings"

	"fairlobe/datasets"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/dwells"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/schedule"
)

// apply applies the log to the plan, and if some of its drops were entered after the first look at the data, once more
// without these. A block that only they take out is marked by its reason, and its dwells have the length with which they
// would count. nil stands for no late drops, or none that matters.
func (p Carried) apply(planned []schedule.Dwell, events []dwells.Event) (dwells.Outcome, *account.LateDrops, diag.List) {
	with := dwells.Params{SlotMs: p.SlotMs, SettleMs: p.SettleMs, Sends: p.Sends, File: p.Log, UntilMs: lastEvent(events)}
	out, notes := dwells.Apply(planned, events, with)
	if len(p.LateDrops) == 0 || len(notes.Faults()) > 0 {
		return out, nil, notes
	}
	before := slices.DeleteFunc(slices.Clone(events), func(e dwells.Event) bool {
		return e.Kind == dwells.Drop && slices.Contains(p.LateDrops, e.Line)
	})
	without, _ := dwells.Apply(planned, before, with)
	late := mark(&out, without)
	if late == 0 {
		return out, nil, notes
	}
	return out, &account.LateDrops{Blocks: late, Losses: losses(without)}, notes
}

// mark marks the dwells of the blocks that count without the late drops alone, and gives the number of these blocks.
func mark(out *dwells.Outcome, without dwells.Outcome) (blocks int) {
	type block struct {
		session, number int
		band            string
	}
	seen := map[block]bool{}
	for i := range out.Dwells {
		d, other := &out.Dwells[i], without.Dwells[i]
		if d.Kept || !other.Kept {
			continue
		}
		d.SettleEnd = other.SettleEnd
		d.Reason = datasets.ReasonDroppedLate + strings.TrimPrefix(d.Reason, dwells.Dropped)
		seen[block{d.Session, d.Block, d.Band}] = true
	}
	return len(seen)
}

func losses(out dwells.Outcome) []account.Loss {
	all := []account.Loss{}
	for _, l := range out.Losses {
		all = append(all, account.Loss{Band: l.Band, Share: l.LostShare, P: l.LossP})
	}
	return all
}
