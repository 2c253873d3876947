package field

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// View is what the operator has to know at one moment. Words only; arms have their codes where they are hidden.
type View struct {
	// Clock is the corrected time.
	Clock time.Time
	// Where says session, block and dwell.
	Where string
	// Do is what is to be done or what is on, Arm and Band what it is about; they are empty where nothing is.
	Do, Arm, Band string
	// Until is when that changes; zero if the clock changes nothing. What says what happens then.
	Until time.Time
	What  string
	// Then is the dwell after.
	Then string
	// Note says that something is amiss.
	Note string
	// Tally counts blocks.
	Tally string
}

// View gives what is on at a moment of the machine's clock.
func (k *Keeper) View(now time.Time) View {
	at := k.frozen(now)
	running, next := k.running(at)
	counting, lost := k.tally(at)
	v := View{Clock: k.utc(now), Tally: fmt.Sprintf("Blocks done: %d, lost: %d", counting, lost)}
	since, paused := k.pausedAt()
	switch {
	case paused:
		v.Do, v.Note = "PAUSED", "since "+clock(since)+"; p goes on"
	case running >= 0:
		k.onAir(&v, running)
	case next < len(k.all):
		k.changing(&v, next)
	default:
		v.Do, v.Note = "OVER", "x ends the session"
	}
	i := running
	if i < 0 || paused {
		i = next
	}
	if i < len(k.all) {
		v.Where = k.where(i)
		if !k.all[i].Kept && !notRun(k.all[i]) {
			v.Note = strings.TrimPrefix(v.Note+"; this block is lost, go on all the same", "; ")
		}
	} else {
		v.Where = fmt.Sprintf("Session %d", k.session)
	}
	if paused && next < len(k.all) {
		v.Then = k.change(-1, next)
	}
	return v
}

func (k *Keeper) where(i int) string {
	d := k.all[i]
	blocks, dwellsOfBlock := 0, 0
	for _, o := range k.all {
		blocks = max(blocks, o.Block)
		if o.Block == d.Block && o.Band == d.Band {
			dwellsOfBlock++
		}
	}
	return fmt.Sprintf("Session %d, block %d of %d, dwell %d of %d", k.session, d.Block, blocks, d.Position, dwellsOfBlock)
}

func (k *Keeper) onAir(v *View, i int) {
	d := k.all[i]
	v.Do, v.Arm, v.Band = "ON THE AIR", k.trial.name(d.Arm), d.Band
	v.Until, v.What = d.End, "change"
	switch stays := i > 0 && k.all[i-1].Arm == d.Arm; {
	case d.Confirmed:
	case stays && k.all[i-1].Band == d.Band:
		v.Do, v.Note = "STAYS ON", "press c"
	case stays:
		v.Do, v.Note = "CHANGE BAND NOW", fmt.Sprintf("late by %s; the arm stays; press c once it is done", length(v.Clock.Sub(d.Start)))
	default:
		v.Do, v.Note = "CONNECT NOW", fmt.Sprintf("late by %s; press c once it is connected", length(v.Clock.Sub(d.Start)))
	}
	if i+1 < len(k.all) {
		n := k.all[i+1]
		v.Then = fmt.Sprintf("%s, on the air at %s", k.change(i, i+1), clock(n.Start))
	} else {
		v.What, v.Then = "end", "end of the session"
	}
}

func (k *Keeper) changing(v *View, i int) {
	d := k.all[i]
	v.Arm, v.Band = k.trial.name(d.Arm), d.Band
	v.Until, v.What = d.Start, "on the air"
	stays := i > 0 && k.all[i-1].Arm == d.Arm
	switch {
	case d.Confirmed:
		v.Do = "READY, WAIT"
	case stays && k.all[i-1].Band == d.Band:
		v.Do, v.Note = "STAYS ON", "press c"
	case stays:
		v.Do, v.Note = "CHANGE BAND", "the arm stays; press c once it is done"
	default:
		v.Do, v.Note = "CONNECT", "press c once it is connected"
	}
	if i+1 < len(k.all) {
		v.Then = fmt.Sprintf("%s, on the air at %s", k.change(i, i+1), clock(k.all[i+1].Start))
	} else {
		v.Then = "end of the session"
	}
}

// Status gives the view as plain lines.
func (k *Keeper) Status(now time.Time) []string {
	v := k.View(now)
	what := v.Do
	if v.Arm != "" {
		what += ": " + v.Arm + " on " + v.Band
	}
	if !v.Until.IsZero() {
		what += fmt.Sprintf("; %s at %s, in %s", v.What, clock(v.Until), length(v.Until.Sub(v.Clock)))
	}
	lines := []string{fmt.Sprintf("%s  %s", clock(v.Clock), v.Where), what}
	for _, more := range []string{v.Note, then(v.Then), v.Tally} {
		if more != "" {
			lines = append(lines, more)
		}
	}
	return lines
}

func then(text string) string {
	if text == "" {
		return ""
	}
	return "Then: " + text
}

// Screen gives the view as lines of at most width characters, with the latest sayings and with the keys or the open
// question, in at most height lines. Where there is no room for all, older sayings go first, then large letters, then
// the list of keys.
func (k *Keeper) Screen(now time.Time, said []string, width, height int) []string {
	v := k.View(now)
	p := parts{asking: k.ask != nil}
	p.top = append(append(wrap(clock(v.Clock), width), wrap(v.Where, width)...), "")
	p.large, p.small = wrap(v.Do, width), wrap(v.Do, width)
	if v.Arm != "" {
		p.large = append(append(append(p.large, big(v.Arm, width)...), ""), wrap(v.Arm+" on "+v.Band, width)...)
		p.small = wrap(v.Do+": "+v.Arm+" on "+v.Band, width)
	}
	p.below = []string{""}
	if !v.Until.IsZero() {
		p.below = append(p.below, wrap(fmt.Sprintf("%s in %s, at %s", upperFirst(v.What), length(v.Until.Sub(v.Clock)), clock(v.Until)), width)...)
	}
	for _, more := range []string{v.Note, then(v.Then), v.Tally} {
		p.below = append(p.below, wrap(more, width)...)
	}
	for _, one := range said {
		p.sayings = append(p.sayings, wrap("> "+one, width)...)
	}
	p.keys = Legend(width)
	if p.asking {
		p.keys = wrap("? "+k.ask.prompt, width)
	}
	return p.fit(height)
}

// parts are the lines of a screen from top to bottom, large or small in the second place.
type parts struct {
	top, large, small, below, sayings, keys []string
	asking                                  bool
}

// leastSayings is how many lines of what was said last are worth more than large letters.
const leastSayings = 2

func (p parts) fit(height int) []string {
	head := p.large
	room := func() int { return height - len(p.top) - len(head) - len(p.below) - len(p.keys) }
	least := min(leastSayings, len(p.sayings))
	if room() < least {
		head = p.small
	}
	if room() < least && !p.asking {
		p.keys = []string{"?: keys"}
	}
	if over := len(p.sayings) - max(0, room()); over > 0 {
		p.sayings = p.sayings[over:]
	}
	spare := room() - len(p.sayings)
	for _, part := range []*[]string{&p.keys, &p.sayings} {
		if spare > 0 && len(*part) > 0 {
			*part = append([]string{""}, *part...)
			spare--
		}
	}
	var out []string
	for _, part := range [][]string{p.top, head, p.below, p.sayings} {
		out = append(out, part...)
	}
	// Even where next to nothing has room, a question is seen to its end.
	keys := p.keys[max(0, len(p.keys)-max(height, 1)):]
	return append(out[:min(len(out), max(0, height-len(keys)))], keys...)
}

// Legend lists the keys in lines of at most width characters.
func Legend(width int) []string {
	var lines []string
	line := ""
	for _, one := range keys() {
		word := one.letter + " " + one.label
		if line != "" && len(line)+2+len(word) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += "  "
		}
		line += word
	}
	return append(lines, line)
}

// wrap breaks text into lines at blanks; a word that is too long is cut into pieces.
func wrap(text string, width int) []string {
	width = max(width, 10)
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		for utf8.RuneCountInString(word) > width {
			r := []rune(word)
			if line != "" {
				lines, line = append(lines, line), ""
			}
			lines, word = append(lines, string(r[:width])), string(r[width:])
		}
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width:
			lines, line = append(lines, line), word
		default:
			line += " " + word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
