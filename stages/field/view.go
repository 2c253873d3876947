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
	if !d.Confirmed {
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

// Screen gives the view as lines of at most width characters, with the latest sayings and the keys, in at most
// height lines; what does not fit goes from the least needed on: keys, then sayings, then large letters.
func (k *Keeper) Screen(now time.Time, said []string, width, height int) []string {
	v := k.View(now)
	top := append(wrap(clock(v.Clock), width), wrap(v.Where, width)...)
	top = append(top, "")
	large := []string{v.Do}
	small := []string{v.Do}
	if v.Arm != "" {
		large = append(append(large, ""), big(v.Arm, width)...)
		large = append(large, "", "on "+v.Band)
		small = []string{v.Do + ": " + v.Arm + " on " + v.Band}
	}
	var below []string
	if !v.Until.IsZero() {
		below = append(below, fmt.Sprintf("%s in %s, at %s", upperFirst(v.What), length(v.Until.Sub(v.Clock)), clock(v.Until)))
	}
	for _, more := range []string{v.Note, then(v.Then), v.Tally} {
		below = append(below, wrap(more, width)...)
	}
	var sayings []string
	for _, one := range said {
		sayings = append(sayings, wrap("> "+one, width)...)
	}
	if len(sayings) > 0 {
		sayings = append([]string{""}, sayings...)
	}
	var legend []string
	if k.ask != nil {
		legend = append([]string{""}, wrap("? "+k.ask.prompt, width)...)
	} else {
		legend = append([]string{""}, Legend(width)...)
	}
	return fit(height, width, top, large, small, below, sayings, legend, k.ask != nil)
}

// fit joins the parts of the screen, and leaves out what has no room.
func fit(height, width int, top, large, small, below, sayings, legend []string, asking bool) []string {
	head := large
	room := func() int { return height - len(top) - len(head) - len(below) }
	if room() < len(sayings)+len(legend) {
		head = nil
		for _, line := range small {
			head = append(head, wrap(line, width)...)
		}
	}
	if !asking && room() < len(sayings)+len(legend) {
		legend = []string{"?: keys"}
	}
	if over := len(sayings) + len(legend) - room(); over > 0 {
		sayings = sayings[min(over, len(sayings)):]
	}
	var out []string
	for _, part := range [][]string{top, head, {""}, below, sayings, legend} {
		out = append(out, part...)
	}
	if len(out) > height && height > 0 { // a question must be seen
		out = append(out[:max(0, height-len(legend))], legend...)
	}
	return out[:min(len(out), max(height, 1))]
}

// Legend lists the keys in lines of at most width characters.
func Legend(width int) []string {
	var lines []string
	line := ""
	for _, one := range keys() {
		word := one.letter + " " + one.label
		if line != "" && len(line)+3+len(word) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " | "
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
