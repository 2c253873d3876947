package dwells

import (
	"fmt"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"fairlobe/pipeline/diag"
)

// outcome puts the results together. logged tells whether there is a log.
func (t *trial) outcome(logged bool) Outcome {
	o := Outcome{Dwells: t.dwells}
	for _, b := range t.blocks {
		for _, i := range b.dwells {
			o.Dwells[i].Kept, o.Dwells[i].Reason = b.reason == "", b.reason
		}
		o.EndedEarly = o.EndedEarly || b.cut
	}
	for _, s := range t.sessions {
		o.Sessions = append(o.Sessions, s.Session)
	}
	o.Ended = t.ended()
	o.Losses = t.losses()
	o.Unconfirmed = t.unconfirmed()
	o.Notes = t.notes()
	if logged && o.Unconfirmed > unconfirmedLimit {
		t.list = append(t.list, diag.Diag{
			Pos: diag.Pos{File: t.p.File}, Severity: diag.Warning, Code: CodeUnconfirmed,
			Msg:  fmt.Sprintf("%.0f %% of the dwells have no connected event: they count as planned", 100*o.Unconfirmed),
			Mend: "write a line for each arm when it is connected, at that moment",
		})
	}
	return o
}

func (t *trial) unconfirmed() float64 {
	all, missing := 0, 0
	until := time.UnixMilli(t.p.UntilMs)
	for _, b := range t.blocks {
		for _, i := range b.dwells {
			if b.cut || b.pending || t.p.UntilMs != 0 && t.dwells[i].Start.After(until) {
				continue
			}
			all++
			if !t.dwells[i].Confirmed {
				missing++
			}
		}
	}
	if all == 0 {
		return 0
	}
	return float64(missing) / float64(all)
}

func (t *trial) losses() []Loss {
	var out []Loss
	for _, b := range t.blocks {
		at := slices.IndexFunc(out, func(l Loss) bool { return l.Band == b.band })
		if at < 0 {
			at = len(out)
			out = append(out, Loss{Band: b.band})
			for _, arm := range t.arms {
				out[at].ByArm = append(out[at].ByArm, ArmLoss{Arm: arm})
			}
		}
		if b.cut || b.pending && !t.laterSessionRan(b.session) {
			continue
		}
		out[at].Scheduled++
		if b.reason != "" {
			out[at].Lost++
			for i := range out[at].ByArm {
				if out[at].ByArm[i].Arm == b.arm {
					out[at].ByArm[i].Lost++
				}
			}
		}
	}
	for i := range out {
		out[i].LossP = lossP(out[i].ByArm)
		if out[i].Scheduled > 0 {
			out[i].LostShare = float64(out[i].Lost) / float64(out[i].Scheduled)
		}
	}
	return out
}

// laterSessionRan tells whether a session after this one was run: what was pending here will not come.
func (t *trial) laterSessionRan(s int) bool {
	for other := range t.sessions {
		if t.sessions[other].ran && t.start(other).After(t.start(s)) {
			return true
		}
	}
	return false
}

// lossP is the two-sided binomial p value; see Loss.
func lossP(byArm []ArmLoss) float64 {
	k, n := len(byArm), 0
	for _, a := range byArm {
		n += a.Lost
	}
	if k < 2 || n == 0 {
		return 1
	}
	among := distuv.Binomial{N: float64(n), P: 1 / float64(k)}
	p := 1.0
	for _, a := range byArm {
		atMost := among.CDF(float64(a.Lost))
		atLeast := 1 - among.CDF(float64(a.Lost)-1)
		p = min(p, 2*min(atMost, atLeast))
	}
	if k > 2 {
		p *= float64(k)
	}
	return min(1, p)
}

func (t *trial) notes() []Event {
	var out []Event
	for _, e := range t.events {
		if !slices.Contains([]string{Power, Battery, Clock, RadioClock, Deviation, Remark}, e.Kind) {
			continue
		}
		if e.Arm == "" {
			s := slices.IndexFunc(t.sessions, func(s session) bool { return s.Session.Session == e.Session })
			e.Arm = t.armAt(s, e.Time)
		}
		out = append(out, e)
	}
	return out
}
