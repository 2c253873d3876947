package pooling

import (
	"fmt"
	"math"
	"slices"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/multiple"
	"fairlobe/stages/judge"
)

// MostStudies is the greatest number of bundles that are pooled at a time.
const MostStudies = 1000

// Options are what the user may choose.
type Options struct {
	Frame string // North, Wire, or "" for that of the claims
	Tool  string // name and version of the program
}

// Pool adds the studies up. Bundles that hold the same data, and bundles of which no two ask the same question, are a diag.List.
func Pool(studies []Study, o Options) (*Document, error) {
	if len(studies) == 0 || len(studies) > MostStudies {
		return nil, fmt.Errorf("pooling: %d studies, 1 to %d can be pooled", len(studies), MostStudies)
	}
	all := labelled(studies)
	if err := sameData(all).Err(); err != nil {
		return nil, err
	}
	doc := &Document{Format: 1, Tool: o.Tool, Studies: studyEntries(all), Claims: []ClaimEntry{}, Alone: []AloneEntry{}, Warnings: []Warning{}}
	p := &pool{options: o}
	p.gather(all)
	if len(all) == 1 {
		for _, q := range p.questions {
			doc.Claims = append(doc.Claims, ownVerdict(q))
		}
		return doc, nil
	}
	doc.Alone = append(doc.Alone, p.setAside()...)
	if len(p.questions) == 0 {
		return nil, nothingShared(all)
	}
	if err := p.answer(); err != nil {
		return nil, err
	}
	for _, q := range p.questions {
		doc.Claims = append(doc.Claims, *q.entry)
	}
	doc.Warnings = append(doc.Warnings, aboutOperators(all)...)
	doc.Warnings = append(doc.Warnings, p.strangers(all)...)
	doc.Warnings = append(doc.Warnings, Warning{"selection", "only what was shared can be pooled: whoever found nothing may not have shared, and then the pool looks better than the truth"})
	return doc, nil
}

func studyEntries(all []member) []StudyEntry {
	var out []StudyEntry
	for _, m := range all {
		e := StudyEntry{Label: m.label, Name: m.Name, Identity: m.Identity, Title: m.Title, Operator: m.Operator, Square: m.Square,
			SealedBeforeData: m.SealedBeforeData, Looks: m.Looks}
		if m.Seal != "" {
			e.Seal = &m.Seal
		}
		if m.Origin != nil {
			origin := *m.Origin
			origin.Differences = append([]string{}, origin.Differences...)
			e.Origin = &origin
		}
		out = append(out, e)
	}
	return out
}

// question is one question with all that was found for it.
type question struct {
	Question
	found    []entering // by label
	smallest float64
	frame    string     // of a directivity claim
	enters   []entering // those of them that enter
	result   *pooled
	entry    *ClaimEntry
}

// pool is the work on one set of studies.
type pool struct {
	options   Options
	questions []*question // as they come up: by the labels of the studies, then in the order of their files
}

func (p *pool) gather(all []member) {
	byKey := map[string]*question{}
	for _, m := range all {
		for _, f := range m.Findings {
			q := byKey[f.key()]
			if q == nil {
				q = &question{Question: f.Question}
				byKey[f.key()] = q
				p.questions = append(p.questions, q)
			}
			q.found = append(q.found, entering{m, f})
		}
	}
}

// setAside takes out what only one bundle asks.
func (p *pool) setAside() []AloneEntry {
	var out []AloneEntry
	p.questions = slices.DeleteFunc(p.questions, func(q *question) bool {
		if q.bundles() > 1 {
			return false
		}
		for _, e := range q.found {
			out = append(out, AloneEntry{Label: e.label, Claim: e.Claim, Kind: e.Kind, Band: e.Band, Verdict: e.Verdict, Reason: e.Reason})
		}
		return true
	})
	return out
}

func (q *question) bundles() int {
	var all []string
	for _, e := range q.found {
		all = append(all, e.Identity)
	}
	return len(once(all))
}

func nothingShared(all []member) error {
	var files []diag.Pos
	for _, m := range all[1:] {
		files = append(files, diag.Pos{File: m.File})
	}
	return diag.List{{Pos: diag.Pos{File: all[0].File}, Code: "different_questions", Related: files[:min(len(files), 10)],
		Msg:  "no two of these bundles ask the same question, so nothing can be pooled: a claim must have the same name, kind, arms, direction, shape, distances and band in both",
		Mend: "pool bundles of one experiment and its repeats; fairlobe receive makes a repeat that asks the same"}}
}

// strangers warns of bundles that ask nothing that another one asks.
func (p *pool) strangers(all []member) []Warning {
	var out []Warning
	for _, m := range all {
		if !slices.ContainsFunc(p.questions, func(q *question) bool {
			return slices.ContainsFunc(q.found, func(e entering) bool { return e.Identity == m.Identity })
		}) {
			out = append(out, Warning{"asks_something_else", m.label + " asks none of the questions of the others, so it enters nowhere"})
		}
	}
	return out
}

// answer comes to a verdict on every question.
func (p *pool) answer() error {
	var ps []*float64
	place := map[*question]int{} // in the family
	for _, q := range p.questions {
		if err := q.prepare(p.options.Frame); err != nil {
			return err
		}
		if q.inFamily() {
			place[q] = len(ps)
			ps = append(ps, q.result.pOrNil())
		}
	}
	for _, q := range p.questions {
		c := chance{}
		if i, ok := place[q]; ok {
			n := len(ps)
			c = chance{adjusted: multiple.Holm(ps)[i], family: n}
			q.entry.FamilySize = &n
			if c.adjusted != nil {
				q.entry.PAdjusted = roundP(*c.adjusted)
			}
		}
		depends := p.depends(q)
		q.entry.Verdict, q.entry.ReasonCode, q.entry.Reason = q.decide(q.result, c, depends)
		if q.frame == North && q.entry.ReasonCode == "different" {
			q.entry.warn("same_receivers", "places near one another hear the same receivers in the same directions: what they share from north may be these receivers, or their distance, and not the antenna")
		}
		if q.result.operators >= 2 && !q.counted() {
			reach := Reach
			q.entry.Reach = &reach
		}
		// The verdict that a part of the studies would give, all other questions being what they are.
		other := func(what string, some []entering) (OtherEntry, error) {
			r, err := q.pool(some)
			if err != nil {
				return OtherEntry{}, err
			}
			o := OtherEntry{What: what, Operators: r.operators, Summary: r.Summary}
			if r.operators < 2 {
				o.Verdict = "nothing to pool"
				return o, nil
			}
			c := chance{}
			if i, ok := place[q]; ok {
				changed := slices.Clone(ps)
				changed[i] = r.pOrNil()
				c = chance{adjusted: multiple.Holm(changed)[i], family: len(ps)}
			}
			o.Verdict, _, _ = q.decide(r, c, depends)
			return o, nil
		}
		if err := q.compareParts(other); err != nil {
			return err
		}
	}
	return nil
}

// Reach is how far a pooled verdict speaks.
const Reach = "the operators and places pooled"

// prepare finds who enters, and pools.
func (q *question) prepare(frame string) error {
	e := newEntry(q)
	q.entry = e
	q.smallest = e.Smallest
	for _, f := range q.found {
		if f.Smallest != q.smallest {
			e.warn("smallest_differs", fmt.Sprintf("the bundles state different smallest differences that matter; the smallest counts, %g %s", q.smallest, q.unit()))
			break
		}
	}
	if q.counted() {
		q.count()
		q.result = &pooled{p: math.NaN()}
		return nil
	}
	if q.Kind == "directivity" {
		var able []entering
		for _, f := range q.found {
			if f.barred() == "" {
				able = append(able, f)
			}
		}
		var warnings []Warning
		q.frame, warnings = chooseFrame(frame, able)
		e.Warnings = append(e.Warnings, warnings...)
	}
	for _, f := range q.found {
		why := f.barred()
		if why == "" && q.frame == Wire {
			why = f.barredFromWire()
		}
		if why != "" {
			e.LeftOut = append(e.LeftOut, LeftOutEntry{f.label, f.Verdict, why})
			continue
		}
		q.enters = append(q.enters, f)
	}
	var err error
	if q.result, err = q.pool(q.enters); err != nil {
		return fmt.Errorf("pooling %s: %w", q.Question, err)
	}
	r := q.result
	e.Operators, e.Experiments, e.Summary = r.operators, r.experiments, r.Summary
	e.Heterogeneity, e.Moments, e.Directivity = r.heterogeneity, r.moments, r.directivity
	e.Studies = append(e.Studies, r.parts...)
	if q.Kind == "directivity" {
		if e.Directivity.FrontToBack, err = poolFrontToBack(q.enters); err != nil {
			return fmt.Errorf("pooling %s, front to back: %w", q.Question, err)
		}
	}
	q.warnOfSize()
	q.warnOfDoubts()
	return nil
}

func newEntry(q *question) *ClaimEntry {
	e := &ClaimEntry{Claim: q.Claim, Kind: q.Kind, Band: q.Band, Arms: append([]string{}, q.Arms...), WithinKm: q.WithinKm, StepDB: q.StepDB, Unit: q.unit(), Smallest: math.Inf(1),
		Studies: []PartEntry{}, LeftOut: []LeftOutEntry{}, Counts: []Count{}, WithoutOne: []OtherEntry{}, Sensitivity: []OtherEntry{}, Warnings: []Warning{}}
	if q.Direction != "" {
		e.Direction = &q.Direction
	}
	if q.Shape != "" {
		e.Shape = &q.Shape
	}
	for _, f := range q.found {
		e.Smallest = min(e.Smallest, f.Smallest)
	}
	return e
}

func (e *ClaimEntry) warn(code, text string) { e.Warnings = append(e.Warnings, Warning{code, text}) }

func (q *question) pool(some []entering) (*pooled, error) {
	if q.Kind == "directivity" {
		return poolLobes(some, q.Shape, q.frame)
	}
	return poolSizes(some, entering.size)
}

func (r *pooled) pOrNil() *float64 {
	if math.IsNaN(r.p) {
		return nil
	}
	return &r.p
}

// count counts the verdicts of a claim that is not pooled.
func (q *question) count() {
	e := q.entry
	e.Experiments = len(q.found)
	e.Operators = len(operatorsOf(q.found))
	for _, verdict := range []string{judge.Holds, judge.Fails, judge.Undecided, judge.Refused} {
		n := 0
		for _, f := range q.found {
			if f.Verdict == verdict {
				n++
			}
		}
		if n > 0 {
			e.Counts = append(e.Counts, Count{verdict, n})
		}
	}
	for _, f := range q.found {
		verdict := f.Verdict
		e.LeftOut = append(e.LeftOut, LeftOutEntry{f.label, verdict, f.Reason})
	}
}

// Numbers of operators below which a pool is thin.
const fewOperators = 5

func (q *question) warnOfSize() {
	switch k := q.result.operators; {
	case k == 2:
		q.entry.warn("two_studies", "two studies can hardly show how much places differ: the interval is wide for that reason")
	case k > 2 && k < fewOperators:
		q.entry.warn("few_studies", fmt.Sprintf("with %d studies it is badly known how much places differ: the interval allows for that, and a few more may change it much", k))
	}
}

// doubtful are reasons for "undecided" that say that a trial was disturbed; its estimate enters all the same.
var doubtful = []string{"losses", "compressed", "sessions_differ", "late_drop_decides"}

func (q *question) warnOfDoubts() {
	for _, e := range q.enters {
		if slices.Contains(doubtful, e.ReasonCode) {
			q.entry.warn("disturbed_trial", fmt.Sprintf("%s enters, though its own verdict is undecided for a disturbance: %s", e.label, e.Reason))
		}
	}
}

// depends tells whether a level must not be called practically the same, since it depends on the direction: a pooled lobe of the
// same arms shows it by itself, or at least half of the studies did.
func (p *pool) depends(q *question) bool {
	if q.Kind != "level" {
		return false
	}
	for _, other := range p.questions {
		if other.Kind == "directivity" && other.Band == q.Band && other.Direction == q.Direction && sameArms(other.Arms, q.Arms) && other.result.p <= alpha {
			return true
		}
	}
	n := 0
	for _, e := range q.enters {
		if e.Depends {
			n++
		}
	}
	return n > 0 && 2*n >= len(q.enters)
}

func sameArms(a, b []string) bool {
	a, b = slices.Clone(a), slices.Clone(b)
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(a, b)
}

// mostLeftOut is the greatest number of operators of which each is left out in turn.
const mostLeftOut = 200

// compareParts pools without each operator in turn, and what was sealed or repeated directly.
func (q *question) compareParts(other func(what string, some []entering) (OtherEntry, error)) error {
	if q.counted() || q.result.operators < 2 {
		return nil
	}
	groups := operatorsOf(q.enters)
	if len(groups) < 3 || len(groups) > mostLeftOut {
		groups = nil // the one that is left could only be repeated; and it takes minutes for a thousand
	}
	for i, group := range groups {
		var labels []string
		for _, e := range group {
			labels = append(labels, e.label)
		}
		without := slices.Concat(slices.Concat(groups[:i]...), slices.Concat(groups[i+1:]...))
		o, err := other(listed(labels), without)
		if err != nil {
			return err
		}
		q.entry.WithoutOne = append(q.entry.WithoutOne, o)
	}
	for _, s := range []struct {
		what string
		is   func(e entering) bool
	}{
		{"only what was sealed before the data", func(e entering) bool { return e.SealedBeforeData }},
		{"without varied repeats", func(e entering) bool { return e.Origin == nil || e.Origin.Kind == Direct }},
	} {
		o, err := other(s.what, slices.DeleteFunc(slices.Clone(q.enters), func(e entering) bool { return !s.is(e) }))
		if err != nil {
			return err
		}
		q.entry.Sensitivity = append(q.entry.Sensitivity, o)
	}
	return nil
}
