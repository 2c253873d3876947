package field

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/stages/dwells"
)

// Paper asks page by page for what was written by hand, and writes each page into the log once the operator has
// seen it whole: first the session's beginning, then each block, then its end. What the log has already is not
// asked again, so that it can be left and taken up at any moment. It is not safe for use by several goroutines.
type Paper struct {
	k       *Keeper
	pages   []page
	at      int // the page
	step    int // the item that is asked; len(items) = all are answered
	fixing  bool
	endsNow bool // the session ended inside this page
	left    bool
}

// page is what is shown and written at once.
type page struct {
	title string
	block int // 0 = beginning or end
	items []item
}

// item is one thing that may stand on paper.
type item struct {
	label  string
	prompt func() string
	// read gives the entries that an answer means, none for an empty one.
	read func(text string) (entries []dwells.Event, problem string)

	answer  string
	entries []dwells.Event
	dwell   int // of the session, for a connected item; else -1
}

// NewPaper takes up a session where the log has left it; errors as in NewKeeper.
func NewPaper(trial Trial, log Recorder, session int) (*Paper, error) {
	k, err := NewKeeper(trial, log, session)
	if err != nil {
		return nil, err
	}
	p := &Paper{k: k}
	p.pages = append(p.pages, p.beginning())
	for _, block := range p.blocks() {
		p.pages = append(p.pages, p.block(block))
	}
	p.pages = append(p.pages, p.end())
	p.pages = slices.DeleteFunc(p.pages, func(g page) bool { return len(g.items) == 0 })
	p.left = len(p.pages) == 0
	return p, nil
}

// Left tells whether there is nothing more to ask, or the operator has left.
func (p *Paper) Left() bool { return p.left }

// Begin says what will be asked.
func (p *Paper) Begin(time.Time) []string {
	k := p.k
	said := []string{fmt.Sprintf("Session %d: planned %s to %s.", k.session, day(k.all[0].Start), clock(k.all[len(k.all)-1].End))}
	if p.left {
		return append(said, "All of it is in the log already.")
	}
	said = append(said, "Times as they stand on paper: HH:MM or HH:MM:SS UTC. Enter: not on paper.",
		"<: one back. q: leave; a page is written once you have said y to it.", "")
	return append(said, p.heading()...)
}

func (p *Paper) heading() []string { return []string{"== " + p.pages[p.at].title} }

// Prompt is the question that is open.
func (p *Paper) Prompt() string {
	if p.left {
		return ""
	}
	g := p.pages[p.at]
	if p.step == len(g.items) {
		return "Right? y: write it; a number: say that again; q: leave:"
	}
	return g.items[p.step].prompt()
}

// Enter takes an answer and gives what is to be said.
func (p *Paper) Enter(now time.Time, text string) []string {
	text = strings.TrimSpace(text)
	g := &p.pages[p.at]
	switch {
	case strings.EqualFold(text, "q"):
		p.left = true
		return []string{"Left. What you said y to is in the log; the same command asks for the rest."}
	case text == "<":
		p.step, p.fixing = max(0, p.step-1), false
		return nil
	case p.step == len(g.items):
		return p.confirm(now, text)
	}
	one := &g.items[p.step]
	if one.dwell >= 0 && strings.EqualFold(text, "end") {
		return p.endedHere()
	}
	entries, problem := one.read(text)
	if problem != "" {
		return []string{upperFirst(problem) + "."}
	}
	one.answer, one.entries = text, entries
	p.preview()
	p.step++
	if p.fixing {
		p.step, p.fixing = len(g.items), false
	}
	if p.step == len(g.items) {
		return p.summary()
	}
	return nil
}

// endedHere leaves out the dwells from the one that is asked on; the page's other questions stay.
func (p *Paper) endedHere() []string {
	g := &p.pages[p.at]
	g.items = slices.Concat(g.items[:p.step], slices.DeleteFunc(slices.Clone(g.items[p.step:]), func(i item) bool { return i.dwell >= 0 }))
	p.endsNow = true
	if p.step == len(g.items) {
		return p.summary()
	}
	return []string{"The session ended before that dwell; its time is asked last."}
}

func (p *Paper) summary() []string {
	said := []string{"-- " + p.pages[p.at].title}
	for i, one := range p.pages[p.at].items {
		answer := "not on paper"
		if one.answer != "" {
			answer = shown(one)
		}
		said = append(said, fmt.Sprintf("%d  %s: %s", i+1, one.label, answer))
	}
	return said
}

// shown gives times as they were understood, anything else as it was typed.
func shown(one item) string {
	var times []string
	for _, e := range one.entries {
		if slices.Contains([]string{dwells.Connected, dwells.Start, dwells.End, dwells.Pause, dwells.Resume}, e.Kind) {
			times = append(times, e.Time.Format("2006-01-02 15:04:05Z"))
		}
	}
	if len(times) == 0 {
		return cleanNote(one.answer)
	}
	return strings.Join(times, " to ")
}

// confirm writes the page, or goes back to one of its items.
func (p *Paper) confirm(now time.Time, text string) []string {
	g := &p.pages[p.at]
	if n, err := strconv.Atoi(text); err == nil && n >= 1 && n <= len(g.items) {
		p.step, p.fixing = n-1, true
		return nil
	}
	if !yes(text) {
		return []string{"y, or a number from the list."}
	}
	entries := p.entries(now)
	for _, e := range entries {
		if e.Time.After(now) {
			return append([]string{fmt.Sprintf("%s is still to come: a paper tells what was done.", e.Time.Format("2006-01-02 15:04:05Z"))}, p.summary()...)
		}
	}
	if _, list := p.k.trial.apply(slices.Concat(p.k.log.Events(), entries), p.k.log.Path()); len(list.Faults()) > 0 {
		return append(p.k.notWritten(list.Faults()), p.summary()...)
	}
	p.unpreview()
	var said []string
	for _, e := range entries {
		words := p.k.write(e, "")
		if strings.HasPrefix(words[0], "NOT WRITTEN") {
			p.left = true
			return append(append(said, words...), "What was written stays; the same command asks for the rest.")
		}
		said = append(said, words[1:]...)
	}
	said = append(said, "Written: "+plural(len(entries), "line")+".")
	return append(said, p.turn()...)
}

// entries are the lines of a page. What says when arms were connected comes last, so that a page that was cut off
// by a crash is known by what is missing.
func (p *Paper) entries(now time.Time) []dwells.Event {
	g := p.pages[p.at]
	var other, pauses, connected []dwells.Event
	missing := 0
	for _, one := range g.items {
		if one.dwell >= 0 && len(one.entries) == 0 {
			missing++
		}
		for _, e := range one.entries {
			e.Entered = now
			switch e.Kind {
			case dwells.Connected:
				connected = append(connected, e)
			case dwells.Pause, dwells.Resume:
				pauses = append(pauses, e)
			default:
				other = append(other, e)
			}
		}
	}
	all := slices.Concat(other, pauses, connected)
	if missing > 0 {
		e := p.k.event(now, dwells.Remark)
		e.Time = p.blockStart(g.block)
		e.Block, e.Note = g.block, fmt.Sprintf("%s when %s connected", notOnPaper, map[bool]string{true: "one arm was", false: "arms were"}[missing == 1])
		all = append(all, e)
	}
	return all
}

// notOnPaper begins the remark that says that nothing more is known of a block.
const notOnPaper = "not on paper:"

// turn goes to the next page.
func (p *Paper) turn() []string {
	p.at++
	for p.endsNow && p.at < len(p.pages) && p.pages[p.at].block != 0 {
		p.at++ // to the page of the end
	}
	p.step, p.fixing = 0, false
	if p.at >= len(p.pages) {
		p.left = true
		return []string{"That was all. fairlobe check looks at the whole."}
	}
	return append([]string{""}, p.heading()...)
}

// preview moves the session to what this page would make of it, so that a pause moves the times that are asked next.
func (p *Paper) preview() {
	entries := p.entries(p.k.lastEntered())
	if out, list := p.k.trial.apply(slices.Concat(p.k.log.Events(), entries), p.k.log.Path()); len(list.Faults()) == 0 {
		p.k.take(out)
	}
}

func (p *Paper) unpreview() {
	if out, list := p.k.trial.apply(p.k.log.Events(), p.k.log.Path()); len(list.Faults()) == 0 {
		p.k.take(out)
	}
}

// blocks are the block numbers of the session in order.
func (p *Paper) blocks() []int {
	var out []int
	for _, d := range p.k.all {
		if !slices.Contains(out, d.Block) {
			out = append(out, d.Block)
		}
	}
	slices.Sort(out)
	return out
}

func (p *Paper) blockStart(block int) time.Time {
	i := slices.IndexFunc(p.k.all, func(d dwells.Applied) bool { return d.Block == block })
	return p.k.all[max(i, 0)].Start
}

func (p *Paper) blockEnd(block int) (end time.Time) {
	for _, d := range p.k.all {
		if d.Block == block {
			end = d.End
		}
	}
	return end
}

// inLog tells whether the session has such an entry for a block (0: for any).
func (p *Paper) inLog(kind string, block int) bool {
	return slices.ContainsFunc(p.k.log.Events(), func(e dwells.Event) bool {
		return e.Kind == kind && e.Session == p.k.session && (block == 0 || e.Block == block) && !strings.HasPrefix(e.Note, notOnPaper)
	})
}

func (p *Paper) beginning() page {
	g := page{title: fmt.Sprintf("Session %d, beginning", p.k.session)}
	if !p.k.started() && !hasConnected(p.k.log.Events(), p.k.session) {
		g.items = append(g.items, item{label: "first slot", dwell: -1,
			prompt: func() string {
				return fmt.Sprintf("First slot of the session at? Planned %s; Enter: as planned:", clock(p.k.all[0].Start))
			},
			read: func(text string) ([]dwells.Event, string) {
				return p.timed(text, dwells.Start, p.k.all[0].Start, 12*time.Hour)
			}})
	}
	if !p.inLog(dwells.Clock, 0) {
		g.items = append(g.items, p.clock("clock at the beginning", func() time.Time { return p.k.all[0].Start }))
	}
	return g
}

func (p *Paper) clock(label string, when func() time.Time) item {
	return item{label: label, dwell: -1,
		prompt: func() string {
			return upperFirst(label) + ": by how many s was the clock of these times ahead of UTC (-: behind)?"
		},
		read: func(text string) ([]dwells.Event, string) { return p.number(text, dwells.Clock, when(), 0) }}
}

func (p *Paper) end() page {
	g := page{title: fmt.Sprintf("Session %d, end", p.k.session)}
	if p.k.Ended() {
		return g
	}
	last := func() time.Time { return p.k.all[len(p.k.all)-1].End }
	ended := last
	g.items = append(g.items, item{label: "end", dwell: -1,
		prompt: func() string {
			return fmt.Sprintf("Session ended at? The last dwell is over at %s; Enter: then. Earlier: blocks not complete do not count:", clock(last()))
		},
		read: func(text string) ([]dwells.Event, string) {
			if text == "" {
				text = last().Format("15:04:05")
			}
			entries, problem := p.timed(text, dwells.End, last(), 24*time.Hour)
			if problem == "" {
				t := entries[0].Time
				ended = func() time.Time { return t }
			}
			return entries, problem
		}})
	return page{title: g.title, items: append(g.items, p.clock("clock at the end", func() time.Time { return ended() }))}
}

// timed reads the time of an entry.
func (p *Paper) timed(text, kind string, near time.Time, most time.Duration) ([]dwells.Event, string) {
	if text == "" {
		return nil, ""
	}
	t, problem := readTime(text, near)
	if problem == "" && t.Sub(near).Abs() > most {
		problem = fmt.Sprintf("%s is too far from %s", clock(t), clock(near))
	}
	if problem != "" {
		return nil, problem
	}
	return []dwells.Event{p.k.event(t, kind)}, ""
}

func (p *Paper) number(text, kind string, when time.Time, block int) ([]dwells.Event, string) {
	if text == "" {
		return nil, ""
	}
	v, problem := readNumber(kind, text)
	if problem != "" {
		return nil, strings.TrimSuffix(problem, ".")
	}
	e := p.k.event(when, kind)
	e.Block, e.Value, e.HasValue = block, v, true
	if _, list := p.k.tryOut(e); kind == dwells.Clock && len(list.Faults()) > 0 {
		d := list.Faults()[0]
		return nil, strings.TrimSuffix(d.Msg+". Take the error off the times on paper, and write 0 here", ".")
	}
	return []dwells.Event{e}, ""
}

// block is the page of all bands of a block. A block whose arms are all confirmed, of which no more is known, or that
// a logged end cut off, is in the log already.
func (p *Paper) block(block int) page {
	g := page{title: fmt.Sprintf("Session %d, block %d", p.k.session, block), block: block}
	known := slices.ContainsFunc(p.k.log.Events(), func(e dwells.Event) bool {
		return e.Session == p.k.session && e.Block == block && e.Kind == dwells.Remark && strings.HasPrefix(e.Note, notOnPaper)
	})
	g.items = append(g.items, p.pauses(block))
	for i, d := range p.k.all {
		if d.Block == block && !d.Confirmed && !(p.k.Ended() && notRun(d)) {
			g.items = append(g.items, p.connected(i))
		}
	}
	if known || len(g.items) == 1 {
		return page{}
	}
	for _, more := range []item{
		p.words(block, dwells.Drop, "dropped", "Block dropped? The reason, never how signals were (a band before it and a colon: that band only):"),
		p.reading(block, dwells.Power, "power", "Power, W:"),
		p.reading(block, dwells.Battery, "battery", "Battery, V:"),
		p.words(block, dwells.Deviation, "deviation", "What was other than planned?"),
		p.words(block, dwells.Remark, "note", "Note:"),
	} {
		if more.prompt != nil {
			g.items = append(g.items, more)
		}
	}
	return g
}

func (p *Paper) connected(i int) item {
	d := p.k.all[i]
	return item{label: fmt.Sprintf("%s on %s connected", p.k.trial.name(d.Arm), d.Band), dwell: i,
		prompt: func() string {
			return fmt.Sprintf("%s on %s connected at? Dwell from %s to %s; end: the session ended before:", p.k.trial.name(d.Arm), d.Band,
				clock(p.k.all[i].Start), clock(p.k.all[i].End))
		},
		read: func(text string) ([]dwells.Event, string) {
			if text == "" {
				return nil, ""
			}
			t, problem := p.k.connectedTime(text, i)
			if problem != "" {
				return nil, problem
			}
			return []dwells.Event{at(p.k.event(t, dwells.Connected), d)}, ""
		}}
}

// pauses reads HH:MM-HH:MM, several with commas.
func (p *Paper) pauses(block int) item {
	return item{label: "pauses", dwell: -1,
		prompt: func() string {
			words := fmt.Sprintf("Pauses before or in block %d? From-to, such as 05:10-05:25, several with commas", block)
			if have := p.pausesInLog(block); have != "" {
				words += " (the log has " + have + ")"
			}
			if since, open := p.k.pausedAt(); open {
				words += fmt.Sprintf(". That of %s has no end yet: its end alone first", clock(since))
			}
			return words + ":"
		},
		read: func(text string) ([]dwells.Event, string) { return p.readPauses(text, block) }}
}

func (p *Paper) pausesInLog(block int) string {
	var times []string
	for _, e := range p.k.log.Events() {
		if e.Session == p.k.session && e.Kind == dwells.Pause && !e.Time.Before(p.pauseFrom(block)) && e.Time.Before(p.blockEnd(block)) {
			times = append(times, clock(e.Time))
		}
	}
	return strings.Join(times, ", ")
}

// pauseFrom is the earliest moment of a pause of this page: when the block before began.
func (p *Paper) pauseFrom(block int) time.Time {
	if first := p.k.all[0]; first.Block != block {
		return p.blockStart(block - 1)
	}
	return p.blockStart(block).Add(-2 * time.Hour)
}

func (p *Paper) readPauses(text string, block int) (entries []dwells.Event, problem string) {
	if text == "" {
		return nil, ""
	}
	since, open := p.k.pausedAt()
	last := p.pauseFrom(block)
	for _, part := range strings.Split(text, ",") {
		from, to, two := strings.Cut(strings.NewReplacer("\u2013", "-", "\u2212", "-").Replace(part), "-")
		if open && !two { // the end alone
			from, to = since.Format("15:04:05"), from
		} else if !two {
			return nil, fmt.Sprintf("%q is no pause: write from-to, for example 05:10-05:25", cleanNote(part))
		}
		t, problem := readTime(from, p.blockStart(block))
		if open && !two {
			t, problem = since, ""
		}
		if problem != "" {
			return nil, problem
		}
		until, problem := readTime(to, t.Add(6*time.Hour))
		switch {
		case problem != "":
			return nil, problem
		case !until.After(t):
			return nil, fmt.Sprintf("the pause ends at %s, before it begins at %s", clock(until), clock(t))
		case t.Before(last) || t.After(p.blockEnd(block)):
			return nil, fmt.Sprintf("%s is not between %s and %s: a pause belongs to the block that it comes before or lies in", clock(t), clock(last), clock(p.blockEnd(block)))
		}
		if !open || two {
			entries = append(entries, p.k.event(t, dwells.Pause))
		}
		entries = append(entries, p.k.event(until, dwells.Resume))
		open, last = false, until
	}
	return entries, ""
}

// words asks for a text; nothing if the log has such an entry for the block.
func (p *Paper) words(block int, kind, label, prompt string) item {
	if p.inLog(kind, block) {
		return item{}
	}
	return item{label: label, dwell: -1, prompt: func() string { return prompt }, read: func(text string) ([]dwells.Event, string) {
		if cleanNote(text) == "" {
			return nil, ""
		}
		e := p.k.event(p.blockStart(block), kind)
		e.Block, e.Note = block, cleanNote(text)
		if kind == dwells.Drop {
			e.Band, e.Note = p.bandFirst(e.Note)
			if p.k.looksAtSignals(e) {
				return nil, "that reason seems to look at signals: give what happened, such as rain; with \"note\" say the rest"
			}
		}
		return []dwells.Event{e}, ""
	}}
}

// bandFirst cuts "20m: reason".
func (p *Paper) bandFirst(text string) (band, reason string) {
	first, rest, ok := strings.Cut(text, ":")
	for _, d := range p.k.all {
		if ok && strings.EqualFold(strings.TrimSpace(first), d.Band) && strings.TrimSpace(rest) != "" {
			return d.Band, strings.TrimSpace(rest)
		}
	}
	return "", text
}

func (p *Paper) reading(block int, kind, label, prompt string) item {
	if p.inLog(kind, block) {
		return item{}
	}
	return item{label: label, dwell: -1, prompt: func() string { return prompt },
		read: func(text string) ([]dwells.Event, string) { return p.number(text, kind, p.blockStart(block), block) }}
}
