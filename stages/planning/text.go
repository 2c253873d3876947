package planning

import (
	"fmt"
	"math"
	"strings"
)

// width is that of the screen.
const width = 80

// writer makes lines of at most width characters.
type writer struct{ lines []string }

func (w *writer) head(text string) {
	if len(w.lines) > 0 {
		w.lines = append(w.lines, "")
	}
	w.lines = append(w.lines, text)
}

// line writes a row as it stands.
func (w *writer) line(format string, args ...any) {
	w.lines = append(w.lines, strings.TrimRight(fmt.Sprintf(format, args...), " "))
}

// say fills lines with words; first and next are what lines begin with.
func (w *writer) say(first, next, text string) {
	line := first
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > width {
			w.lines = append(w.lines, line)
			line, empty = next, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	w.lines = append(w.lines, line)
}

func (w *writer) item(text string)  { w.say("  - ", "    ", text) }
func (w *writer) under(text string) { w.say("    ", "    ", text) }

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// Words gives the plan as lines of text of at most 80 columns, the most important first. Lines that are to be pasted into
// the experiment file are not broken.
func (p *Plan) Words() []string {
	w := &writer{}
	p.findWords(w)
	p.needWords(w)
	p.powerWords(w)
	p.changeWords(w)
	p.list(w, "What these arms can and can't tell apart", p.apart())
	p.list(w, "Slots and reports", p.slotWords())
	p.sunWords(w)
	p.list(w, "Time and energy", p.effortWords())
	p.exposureWords(w)
	p.list(w, "Mind", p.cautions())
	return w.lines
}

func (p *Plan) list(w *writer, head string, items []string) {
	if len(items) == 0 {
		return
	}
	w.head(head)
	for _, text := range items {
		w.item(text)
	}
}

// findWords says what the schedule as it is finds.
func (p *Plan) findWords(w *writer) {
	w.head("What the schedule as it is can find")
	if text := p.tooMany(); text != "" {
		w.say("  ", "  ", text)
	}
	for _, q := range p.Questions {
		w.say("  ", "    ", fmt.Sprintf("%s (%s; %s)", q.Claim.Name, q.kind(), strings.Join(q.Bands, ", ")))
		if q.Note != "" {
			w.under("This claim " + q.Note)
			continue
		}
		for _, text := range q.findWords() {
			w.under(text)
		}
		if text := q.fewWords(); text != "" {
			w.under(text)
		}
	}
	if len(p.Questions) == 0 {
		w.say("  ", "  ", "No claim is declared: nothing will be judged.")
	}
	if p.in.Pilot != nil {
		text := fmt.Sprintf("The former run is %q. Where it has no figures the values are assumed.", p.in.Pilot.Title)
		if p.in.Pilot.Title != p.in.Experiment.Title {
			text += " Its title is another one: arms and bands were found by their names."
		}
		w.say("  ", "  ", text)
	}
	if p.in.Experiment.Schedule.Stopping == "open" {
		w.say("  ", "  ", "stopping = \"open\": the formulas are of a fixed trial. One that may be watched and stopped needs more blocks: see the simulated numbers, and fairlobe rehearse --trials 200 --look-each-block.")
	}
}

func (q *Question) kind() string {
	if q.Claim.Shape != "" {
		return q.Claim.Kind + ", " + q.Claim.Shape
	}
	return q.Claim.Kind
}

func (q *Question) unit() string { return q.Sigma.Unit }

// findWords are the promises of the schedule as it is, by simulation first.
func (q *Question) findWords() []string {
	var out []string
	if s := q.Simulated; s != nil {
		out = append(out, q.simulatedWords())
	}
	what := fmt.Sprintf("%g %s", q.Smallest, q.unit())
	if q.Claim.Kind == "directivity" {
		what = "a lobe of " + what
	}
	if n := q.Different; n != nil {
		verb := "find " + what
		if q.Claim.Kind == "known_step" {
			verb = "show the step of " + what
		}
		text := fmt.Sprintf("%s %s in %s such trials (formula%s)", counted(q.Blocks, "block"), verb, hundreds(n.Now), q.formulaOnly())
		if n.Now == 0 {
			text = fmt.Sprintf("%s find nothing: too few for the level", counted(q.Blocks, "block"))
		}
		if !math.IsInf(n.Size90, 0) && q.Claim.Kind != "known_step" {
			text += fmt.Sprintf(", and %.1f %s in 9 of 10", math.Ceil(n.Size90*10)/10, q.unit())
		}
		out = append(out, text+".")
	}
	if n := q.Same; n != nil {
		out = append(out, fmt.Sprintf("If there is no difference, %s show \"practically the same\" in %s (formula).", counted(q.Blocks, "block"), hundreds(n.Now)))
	}
	if q.Claim.Kind == "directivity" && (q.Simulated == nil || q.Simulated.Same < 0) {
		out = append(out, "For \"practically the same\" of a lobe there is no formula; --simulate 400 counts it.")
	}
	return append(out, "One block scatters by "+q.sigmaWords()+".")
}

// fewWords says what the judge refuses for want of stations.
func (q *Question) fewWords() string {
	switch {
	case q.Stations < 3:
		return fmt.Sprintf("With %s it will be refused: 3 are the least.", counted(q.Stations, "station"))
	case q.Stations < 8 && q.Claim.Kind == "directivity":
		return fmt.Sprintf("With %s it will be refused: a direction needs 8 or more, all round.", counted(q.Stations, "station"))
	case q.Stations < 8:
		return fmt.Sprintf("With %s it will speak of these receivers only.", counted(q.Stations, "station"))
	}
	return ""
}

// formulaOnly warns where the formula is no promise.
func (q *Question) formulaOnly() string {
	if q.bySimulation() {
		return ", no promise here"
	}
	return ""
}

func (q *Question) simulatedWords() string {
	s := q.Simulated
	if s.Refused != "" {
		return "Not simulated: " + s.Refused + "."
	}
	where := "the usual world"
	if s.Scenario != "" && s.Scenario != "usual" {
		where = "scenario " + s.Scenario
	}
	verb := fmt.Sprintf("found %g %s", q.Smallest, q.unit())
	switch q.Claim.Kind {
	case "directivity":
		verb = fmt.Sprintf("found a lobe of %g %s", q.Smallest, q.unit())
	case "null", "known_step":
		verb = "held"
	}
	text := fmt.Sprintf("%s on %s: %d of %s %s (simulated, %s, seed %d; %.0f to %.0f %%).", counted(q.Blocks, "block"), s.Band,
		s.Found, counted(s.Trials, "trial"), verb, where, s.Seed, 100*s.Low, 100*s.High)
	if s.Same >= 0 {
		text += fmt.Sprintf(" Of as many without any lobe %d showed \"practically the same\".", s.Same)
	}
	if q.Sigma.Measured {
		text += " The invented world does not have your former run's noise."
	}
	return text
}

func (q *Question) sigmaWords() string {
	text := fmt.Sprintf("%.2g %s (%s", q.Sigma.Value, q.unit(), q.Sigma.From)
	if q.Sigma.High > 0 {
		text += fmt.Sprintf("; %.2g to %.2g is possible", q.Sigma.Low, q.Sigma.High)
	}
	return text + ")"
}

// simulatedAnswer is the one whose blocks are searched for.
func (q *Question) simulatedAnswer() string {
	if q.Different == nil {
		return "the same"
	}
	return "different"
}

// perCent gives a chance, never sure.
func perCent(p float64) int { return min(99, int(math.Round(100*p))) }

// hundreds gives a chance as so many of 100. It is rounded down, and never sure.
func hundreds(p float64) string {
	n := int(math.Floor(100*p + 1e-9))
	switch {
	case n >= 99:
		return "99 of 100"
	case n < 1:
		return "less than 1 of 100"
	}
	return fmt.Sprintf("%d of 100", n)
}

// needWords is the table of the blocks that are needed.
func (p *Plan) needWords(w *writer) {
	if !p.anyNeed() {
		return
	}
	w.head("What the answers need (blocks a band, hours, outings)")
	w.line("  %-38s %-20s %s", "", "8 of 10 trials", "9 of 10 trials")
	for _, q := range p.Questions {
		if q.Different == nil && q.Same == nil {
			continue
		}
		w.line("  %s", cut(q.Claim.Name+", "+strings.Join(q.Bands, ", "), width-2))
		row := func(name string, at80, at90 int) {
			w.line("    %-36s %-20s %s", name, p.cell(at80), p.cell(at90))
		}
		size := fmt.Sprintf(" %g %s", q.Smallest, q.unit())
		if n := q.Different; n != nil {
			row("different,"+size, n.At80, n.At90)
		}
		if n := q.Same; n != nil {
			row("practically the same,"+size, n.At80, n.At90)
		}
		if r := q.Recipe; r != nil {
			row("different, former blocks redrawn", orBeyond(r.At80), orBeyond(r.At90))
		}
		if s := q.Simulated; s != nil && s.Searched {
			row(q.simulatedAnswer()+", simulated on "+s.Band, orBeyond(s.At80), orBeyond(s.At90))
		}
	}
	text := "Formulas"
	if p.Family > 1 {
		text += fmt.Sprintf(" at %.2g for each of %s (Holm, first step)", p.Alpha, counted(p.Family, "question"))
	}
	w.say("  ", "  ", text+". Below 12 blocks, below 30 stations and for a direction the simulated row is the promise, or that of the former blocks redrawn.")
}

func (p *Plan) anyNeed() bool {
	for _, q := range p.Questions {
		if q.Different != nil || q.Same != nil {
			return true
		}
	}
	return false
}

func orBeyond(n int) int {
	if n == 0 {
		return beyondReach
	}
	return n
}

func (p *Plan) cell(blocks int) string {
	if blocks > 999 {
		return "out of reach"
	}
	e := p.effortFor(blocks)
	return fmt.Sprintf("%d, %.1f h, %d", blocks, e.hours, e.outings)
}

func cut(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-3]) + "..."
}

// shownBlocks are the numbers of blocks in the table of powers.
func shownBlocks() []int { return []int{8, 12, 16, 24, 32, 48} }

// powerWords is the curve of power against blocks as a table.
func (p *Plan) powerWords(w *writer) {
	curves := p.curves()
	if len(curves) == 0 {
		return
	}
	w.head("Chance of the answer, percent, by blocks (formula)")
	row := fmt.Sprintf("  %-42s", "")
	for _, n := range shownBlocks() {
		row += fmt.Sprintf("%6d", n)
	}
	w.line("%s", row)
	for _, c := range curves {
		row := fmt.Sprintf("  %-42s", cut(c.name, 41))
		for _, n := range shownBlocks() {
			row += fmt.Sprintf("%6d", perCent(c.at(n)))
		}
		w.line("%s", row)
	}
}

// changeWords are lines for the experiment file.
func (p *Plan) changeWords(w *writer) {
	all := p.proposals()
	if len(all) == 0 {
		return
	}
	w.head("Changes to the experiment file (paste over the same keys; before the seal)")
	for _, one := range all {
		w.say("  # ", "  # ", one.Why)
		w.lines = append(w.lines, one.Lines...)
	}
}
