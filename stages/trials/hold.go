package trials

import (
	"context"
	"errors"
	"math"

	"fairlobe/stages/judge"
)

func isStop(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}

// span is an interval as it stands in a verdict; an end without a bound is nil.
type span = [2]*float64

// entry is what is looked at of a verdict, by its names in verdicts.json.
type entry struct {
	Claim          string   `json:"claim"`
	Kind           string   `json:"kind"`
	Band           string   `json:"band"`
	Arms           []string `json:"arms"`
	Direction      *string  `json:"direction"`
	Verdict        string   `json:"verdict"`
	Reach          *string  `json:"reach"`
	ReasonCode     string   `json:"reason_code"`
	EstimateDB     *float64 `json:"estimate_db"`
	IntervalDB     *span    `json:"interval_db"`
	EstimatePoints *float64 `json:"estimate_points"`
	IntervalPoints *span    `json:"interval_points"`
	P              *float64 `json:"p"`
	PRunning       *float64 `json:"p_running"`
	RunningDB      *span    `json:"running_interval_db"`
	RunningPoints  *span    `json:"running_interval_points"`
	Beyond         *second  `json:"beyond"`
	AllRoundDB     *float64 `json:"all_round_db"`
	Shape          string   `json:"shape"`
	Lobe           *struct {
		Harmonic    int         `json:"harmonic"`
		AmplitudeDB *float64    `json:"amplitude_db"`
		AmplitudeIn *span       `json:"amplitude_interval_db"`
		TowardIn    *[2]float64 `json:"toward_interval_deg"`
	} `json:"lobe"`
	FrontToBack *struct {
		AxisDeg    float64  `json:"axis_deg"`
		EstimateDB *float64 `json:"estimate_db"`
		IntervalDB *span    `json:"interval_db"`
	} `json:"front_to_back"`
	Blocks     int `json:"blocks"`
	Stations   int `json:"stations"`
	Receptions int `json:"receptions"`
}

// second is the test and interval for receivers other than those heard.
type second struct {
	IntervalDB     *span    `json:"interval_db"`
	IntervalPoints *span    `json:"interval_points"`
	P              *float64 `json:"p"`
}

// figure is a number that a verdict states, with an interval or not, and that has a truth.
type figure int

const (
	difference figure = iota // the one difference that is true of all receivers
	meanHeard                // the same number, held against the mean over the receivers heard
	running                  // the confidence sequence, against the one difference
	beyond                   // the second interval, against the mean of the population
	points                   // percentage points
	runningPoints
	beyondPoints
	allRound
	amplitude
	direction
	frontToBack
	figures // how many there are
)

// String names a figure as it stands in verdicts.json.
func (f figure) String() string {
	return [...]string{"interval_db", "interval_db, mean over the receivers heard", "running_interval_db", "beyond", "interval_points",
		"running_interval_points", "beyond, points", "all_round_db", "lobe amplitude", "lobe direction", "front_to_back"}[f]
}

// unit of a figure.
func (f figure) unit() string {
	switch f {
	case points, runningPoints, beyondPoints:
		return "points"
	case direction:
		return "degrees"
	}
	return "dB"
}

// held is what became of a figure: whether its interval held the truth, and by how much the estimate missed it.
type held struct {
	asked, holds bool
	width        float64 // NaN of none
	off          float64 // NaN of none
}

// sample is one claim on one band of one trial, held against the truth.
type sample struct {
	entry     entry
	truth     truth
	p         float64 // the one that the sentence rests on; NaN of none
	different bool    // the verdict says that there is something
	figures   [figures]held

	looks int
	over  bool
}

// hold holds an entry against the truth.
func (sc *scene) hold(c *carried, e entry) sample {
	s := sample{entry: e, truth: sc.truthOf(c, e), p: math.NaN(), looks: 1}
	for f := range s.figures {
		s.figures[f] = held{width: math.NaN(), off: math.NaN()}
	}
	if !s.truth.stated {
		return s
	}
	s.holdTest(sc.differ())
	switch e.Kind {
	case "directivity":
		s.holdLobe()
	case "heard_by":
		s.holdShare(sc.differ())
	default:
		s.holdLevel(sc.differ())
	}
	return s
}

// holdTest takes the p and the verdict of what the sentence claims. Where receivers differ for themselves, only what
// speaks beyond those heard has a truth.
func (s *sample) holdTest(differ bool) {
	e := s.entry
	p := e.P
	s.different = e.Verdict == judge.Different || e.Verdict == judge.Fails
	if differ && e.Kind != "directivity" {
		p = nil
		if e.Beyond != nil {
			p = e.Beyond.P
		}
		s.different = s.different && e.Reach != nil && *e.Reach == judge.Beyond
	}
	if p != nil && e.Kind != "known_step" {
		s.p = *p
	}
}

func (s *sample) holdLevel(differ bool) {
	e, t := s.entry, s.truth
	main := difference
	truth := t.levelDB
	if t.lobed() || differ {
		main, truth = meanHeard, t.heardDB
	}
	if e.P != nil {
		s.figures[main] = heldAgainst(e.EstimateDB, e.IntervalDB, truth)
		if main == difference && e.PRunning != nil { // the confidence sequence is one of one difference
			s.figures[running] = heldAgainst(nil, e.RunningDB, truth)
		}
	}
	if e.Beyond != nil && e.Beyond.P != nil && !t.lobed() {
		s.figures[beyond] = heldAgainst(nil, e.Beyond.IntervalDB, t.levelDB)
	}
	if e.AllRoundDB != nil && !differ {
		s.figures[allRound].off = *e.AllRoundDB - t.levelDB
	}
}

// holdShare holds the difference of the shares of listeners that heard. Its truth is known only where the arms are the same,
// or, receivers differing for themselves, the same to the population, for then they could be exchanged: no difference.
func (s *sample) holdShare(differ bool) {
	e := s.entry
	if !s.truth.none || e.P == nil {
		return
	}
	if !differ {
		s.figures[points] = heldAgainst(e.EstimatePoints, e.IntervalPoints, 0)
		s.figures[runningPoints] = heldAgainst(nil, e.RunningPoints, 0)
	}
	if e.Beyond != nil && e.Beyond.P != nil {
		s.figures[beyondPoints] = heldAgainst(nil, e.Beyond.IntervalPoints, 0)
	}
}

func (s *sample) holdLobe() {
	e, t := s.entry, s.truth
	if e.Lobe != nil && t.fits && e.Lobe.AmplitudeIn != nil {
		lobe := t.lobes[e.Lobe.Harmonic]
		s.figures[amplitude] = heldAgainst(e.Lobe.AmplitudeDB, e.Lobe.AmplitudeIn, lobe.amplitudeDB())
		if e.Lobe.TowardIn != nil && lobe.amplitudeDB() > 0 {
			s.figures[direction] = held{asked: true, holds: onArc(*e.Lobe.TowardIn, lobe.angleDeg()/float64(e.Lobe.Harmonic), 360/float64(e.Lobe.Harmonic)), width: math.NaN(), off: math.NaN()}
		}
	}
	if e.FrontToBack != nil && e.FrontToBack.IntervalDB != nil && !math.IsNaN(t.frontDB) {
		s.figures[frontToBack] = heldAgainst(e.FrontToBack.EstimateDB, e.FrontToBack.IntervalDB, t.frontDB)
	}
	if e.AllRoundDB != nil {
		s.figures[allRound].off = *e.AllRoundDB - t.levelDB
	}
}

// heldAgainst holds an estimate, nil of none, and its interval against the truth. No interval at all holds nothing.
func heldAgainst(estimate *float64, interval *span, truth float64) held {
	h := held{asked: true, width: math.NaN(), off: math.NaN()}
	if estimate != nil {
		h.off = *estimate - truth
	}
	if interval == nil {
		return h
	}
	low, high := math.Inf(-1), math.Inf(1)
	if interval[0] != nil {
		low = *interval[0]
	}
	if interval[1] != nil {
		high = *interval[1]
	}
	h.holds, h.width = low <= truth && truth <= high, high-low
	return h
}

// onArc tells whether a direction lies on an arc, clockwise from its first end, on a circle of so many degrees.
func onArc(arc [2]float64, deg, circle float64) bool {
	turn := func(d float64) float64 { return math.Mod(math.Mod(d, circle)+circle, circle) }
	return turn(deg-arc[0]) <= turn(arc[1]-arc[0])
}

// goOn takes the next look at the same claim. What was found once stays found; an interval must hold at every look.
func (s *sample) goOn(next sample) {
	if s.over {
		return
	}
	before := *s
	*s = next
	s.looks = before.looks + 1
	s.over = s.different
	if before.looks == 0 {
		return
	}
	if !math.IsNaN(before.p) && !(before.p > s.p) {
		s.p = before.p
	}
	for f := range s.figures {
		if was := before.figures[f]; was.asked && !was.holds {
			s.figures[f].asked, s.figures[f].holds = true, false
		}
	}
}
