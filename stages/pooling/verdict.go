package pooling

import (
	"fmt"
	"math"

	"fairlobe/stages/judge"
)

const alpha = 0.05

// Counted is what stands for the verdict on a question whose verdicts are counted.
const Counted = "counted"

// Codes of reasons that no single trial has. The others are those of a trial's verdicts.
const (
	oneStudy    = "one_study"
	oneOperator = "one_operator"
	noneEnters  = "none_enters"
	onlyPlain   = "only_without_guard"
)

// chance is a p value among the family. The zero value is that of a question outside of it.
type chance struct {
	adjusted *float64
	family   int
}

func (c chance) passes() bool { return c.adjusted != nil && *c.adjusted <= alpha }

// decide comes to a verdict. Every verdict but "undecided" needs the plain and the guarded interval; since the guarded one holds the
// plain one, it decides.
func (q *question) decide(r *pooled, c chance, depends bool) (verdict, code, reason string) {
	switch {
	case q.counted():
		return Counted, Counted, q.countWords()
	case r.operators == 0:
		return judge.Refused, noneEnters, "none of the bundles can enter: see the reason of each"
	case r.operators == 1 && r.experiments > 1:
		return judge.Undecided, oneOperator, "all experiments that can enter are of one operator: they count as one study, so there is nothing to pool"
	case r.operators == 1:
		own := q.enters[0]
		return judge.Undecided, oneOperator, fmt.Sprintf("only %s can enter, so there is nothing to pool; its own verdict is %s: %s", own.label, own.Verdict, own.Reason)
	}
	switch q.Kind {
	case "directivity":
		return q.decideLobe(r, c)
	case "null":
		return q.decideNull(r)
	case "known_step":
		return q.decideStep(r)
	}
	return q.decideSize(r, c, depends)
}

func (q *question) decideSize(r *pooled, c chance, depends bool) (verdict, code, reason string) {
	l := q.smallest
	switch {
	case inside(r.Guarded, l) && depends:
		return judge.Undecided, "depends_on_direction", fmt.Sprintf("on average the difference is small (%s), but it depends on the direction", r.words(q.unit()))
	case inside(r.Guarded, l):
		return judge.Same, "practically_the_same", q.sameWords(r)
	case c.passes():
		return judge.Different, "different", q.differentWords(r, depends)
	case r.p <= alpha:
		return judge.Undecided, "would_pass_alone", fmt.Sprintf("the difference (%s) would pass alone, not among the %d questions asked", r.words(q.unit()), c.family)
	case inside(r.Interval, l), excludesZero(r.Interval):
		return judge.Undecided, onlyPlain, fmt.Sprintf("the studies agree more closely than their own intervals explain, which is chance; allowing for that the data say %s", q.allowed(r))
	}
	return judge.Undecided, "undecided", "the data allow " + q.allowed(r)
}

// allowed says what the guarded interval leaves open.
func (q *question) allowed(r *pooled) string {
	return fmt.Sprintf("%s over %s: no difference, and also differences that matter", span(r.Guarded, q.unitWords()), r.over())
}

func (q *question) unitWords() string {
	if q.unit() == "points" {
		return "percentage points"
	}
	return q.unit()
}

// words write the interval, and the guarded one where it is another.
func (r *pooled) words(unit string) string {
	if *r.Interval == *r.Guarded {
		return span(r.Interval, unit)
	}
	return fmt.Sprintf("%s; guarded %s", span(r.Interval, unit), span(r.Guarded, unit))
}

// over names what a pooled verdict speaks of.
func (r *pooled) over() string { return fmt.Sprintf("%d operators and places", r.operators) }

func (q *question) sameWords(r *pooled) string {
	unit := q.unitWords()
	if excludesZero(r.Guarded) {
		return fmt.Sprintf("a difference is there (%s), %s, on average over %s; you said that less than %g %s does not matter%s", r.words(unit), q.favours(r), r.over(), q.smallest, unit, q.places(r))
	}
	return fmt.Sprintf("any difference is smaller than %g %s (%s) on average over %s%s", q.smallest, unit, r.words(unit), r.over(), q.places(r))
}

// places says that what is small on average need not be small at each place.
func (q *question) places(r *pooled) string {
	if r.Prediction == nil || inside(r.Prediction, q.smallest) {
		return ""
	}
	return fmt.Sprintf("; at one place alone it may be more (the next one: %s)", span(r.Prediction, q.unitWords()))
}

// favours says in favour of what a difference is.
func (q *question) favours(r *pooled) string {
	positive := *r.Estimate > 0
	if q.Kind == "reciprocity" {
		return "for equal powers, in favour of what is " + map[bool]string{true: "sent", false: "received"}[positive]
	}
	return "in favour of " + q.Arms[map[bool]int{true: 0, false: 1}[positive]]
}

func (q *question) differentWords(r *pooled, depends bool) string {
	unit := q.unitWords()
	size := "; the size is not settled"
	if beyond(r.Guarded, q.smallest) {
		size = fmt.Sprintf(", by more than the %g %s that matter", q.smallest, unit)
	}
	better, worse, sign := 0, 1, 1.0
	if *r.Estimate < 0 {
		better, worse, sign = 1, 0, -1
	}
	by := fmt.Sprintf("%.2f %s", math.Abs(*r.Estimate), unit)
	turned := &pooled{Summary: Summary{Interval: times(r.Interval, sign), Guarded: times(r.Guarded, sign)}}
	between := turned.words(unit)
	begin := ""
	if depends {
		begin = "on average over the directions, "
	}
	switch q.Kind {
	case "reciprocity":
		word := map[bool]string{true: "stronger", false: "weaker"}[sign > 0]
		return fmt.Sprintf("for equal powers what is sent arrives %s %s than what is received (%s), over %s%s", by, word, between, r.over(), size)
	case "heard_by":
		return fmt.Sprintf("of the stations that listened, %s more hear %s than %s (%s), over %s%s", by, q.Arms[better], q.Arms[worse], between, r.over(), size)
	}
	return fmt.Sprintf("%s%s is %s stronger than %s (%s), over %s%s", begin, q.Arms[better], by, q.Arms[worse], between, r.over(), size)
}

// times turns an interval round if the sign is -1.
func times(i *[2]float64, sign float64) *[2]float64 {
	if sign > 0 {
		return i
	}
	return &[2]float64{0 - i[1], 0 - i[0]}
}

func (q *question) decideNull(r *pooled) (verdict, code, reason string) {
	switch {
	case inside(r.Guarded, q.smallest):
		return judge.Holds, "holds", fmt.Sprintf("the two names of one configuration differ by less than %g dB (%s) over %s, as they must%s", q.smallest, r.words("dB"), r.over(), q.places(r))
	case excludesZero(r.Guarded):
		return judge.Fails, "fails", fmt.Sprintf("the two names of one configuration differ (%s) over %s: something else changes with the name", r.words("dB"), r.over())
	}
	return judge.Undecided, "undecided", fmt.Sprintf("the data allow %s over %s: too wide to test the trials", r.words("dB"), r.over())
}

func (q *question) decideStep(r *pooled) (verdict, code, reason string) {
	step := *q.StepDB
	switch {
	case !contains(r.Guarded, step):
		return judge.Fails, "fails", fmt.Sprintf("the declared step of %g dB is outside of what the data allow (%s) over %s", step, r.words("dB"), r.over())
	case contains(r.Interval, step) && excludesZero(r.Guarded):
		return judge.Holds, "holds", fmt.Sprintf("the declared step of %g dB shows (%s) over %s", step, r.words("dB"), r.over())
	}
	return judge.Undecided, "undecided", fmt.Sprintf("the data allow %s over %s: the step is neither shown nor ruled out", r.words("dB"), r.over())
}

func (q *question) decideLobe(r *pooled, c chance) (verdict, code, reason string) {
	swing, stations := 0.0, 0
	for _, l := range r.directivity.Lobes {
		swing += l.AmplitudeIn[1]
	}
	for _, p := range r.parts {
		stations += p.Stations
	}
	switch {
	case c.passes():
		return judge.Different, "different", q.lobeWords(r)
	case swing < q.smallest && stations < judge.FewestForFlatLobe:
		return judge.Undecided, "few_to_rule_out", fmt.Sprintf("no lobe shown, but %d stations over %s are too few to rule one out: %d are needed", stations, r.over(), judge.FewestForFlatLobe)
	case swing < q.smallest:
		return judge.Same, "practically_the_same", fmt.Sprintf("no lobe shown; one of the shape asked for (%s) is at most %.2f dB, less than the %g dB that matter, over %s, from %s",
			q.Shape, swing, q.smallest, r.over(), frameWords(q.frame))
	case r.p <= alpha:
		return judge.Undecided, "would_pass_alone", fmt.Sprintf("a lobe would pass alone, not among the %d questions asked", c.family)
	case swing > q.smallest:
		return judge.Undecided, "undecided", fmt.Sprintf("no lobe shown that places share, but one of up to %.2f dB is not ruled out, more than the %g dB that matter, over %s", swing, q.smallest, r.over())
	}
	return judge.Undecided, "undecided", fmt.Sprintf("no lobe shown that places share, but one of up to %.2f dB is not ruled out, and that matters, over %s", swing, r.over())
}

func frameWords(frame string) string {
	if frame == Wire {
		return "the way in which each wire runs"
	}
	return "north"
}

func (q *question) lobeWords(r *pooled) string {
	l := r.directivity.Lobes[0]
	where := "in a direction that the data leave open"
	if l.TowardDeg != nil {
		where = Toward(l, r.directivity.Frame)
	}
	return fmt.Sprintf("%s gains most against %s %s, %.2f dB (%s) above the all-round value, over %s", q.Arms[0], q.Arms[1], where, l.AmplitudeDB, span(&l.AmplitudeIn, "dB"), r.over())
}

// Toward says in words where a lobe points that has a direction.
func Toward(l LobeEntry, frame string) string {
	from := " degrees"
	if frame == Wire {
		from = " degrees clockwise from the way in which the wire runs"
	}
	if l.Harmonic == 2 {
		return fmt.Sprintf("in the directions %.0f and %.0f%s", *l.TowardDeg, *l.TowardDeg+180, from)
	}
	return fmt.Sprintf("toward %.0f%s", *l.TowardDeg, from)
}

// countWords tells how many bundles came to which verdict.
func (q *question) countWords() string {
	var parts []string
	for _, c := range q.entry.Counts {
		parts = append(parts, fmt.Sprintf("%s at %d of %d", c.Verdict, c.N, len(q.found)))
	}
	return joined(parts) + "; such claims speak of one set-up and are counted, not pooled"
}

// ownVerdict repeats the verdict of the only bundle.
func ownVerdict(q *question) ClaimEntry {
	e := newEntry(q)
	f := q.found[0]
	e.Verdict, e.ReasonCode = f.Verdict, oneStudy
	e.Reason = "only one study, so there is nothing to pool; its own verdict: " + f.Reason
	if f.Reach != "" {
		e.Reach = &f.Reach
	}
	if f.barred() == "" && !q.counted() {
		e.Operators, e.Experiments = 1, 1
		if q.Kind == "directivity" {
			e.Directivity = &Directivity{Frame: North, Lobes: []LobeEntry{}}
			e.Studies = append(e.Studies, lobePart(q.found[:1], q.Shape, North))
		} else {
			part, _ := partOf(q.found[:1], []size{f.size()})
			e.Studies = append(e.Studies, part)
		}
		e.Studies[0].Weight = 100
		return *e
	}
	why := f.barred()
	if q.counted() {
		why = f.Reason
	}
	e.LeftOut = append(e.LeftOut, LeftOutEntry{f.label, f.Verdict, why})
	return *e
}
