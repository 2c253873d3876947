package field

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule"
)

// key is one thing that the operator can say.
type key struct {
	letter, label string
	do            func(k *Keeper, now time.Time) []string
}

func keys() []key {
	return []key{
		{"c", "connected", (*Keeper).connected},
		{"e", "earlier", (*Keeper).connectedEarlier},
		{"p", "pause", (*Keeper).pauseOrResume},
		{"d", "drop", (*Keeper).askDrop},
		{"w", "wrong arm", (*Keeper).askWrongArm},
		{"v", "deviation", func(k *Keeper, _ time.Time) []string {
			return k.askText(dwells.Deviation, "What was other than planned?")
		}},
		{"n", "note", func(k *Keeper, _ time.Time) []string { return k.askText(dwells.Remark, "Note:") }},
		{"o", "power", func(k *Keeper, _ time.Time) []string { return k.askNumber(dwells.Power, "Power, W:", nil) }},
		{"b", "battery", func(k *Keeper, _ time.Time) []string { return k.askNumber(dwells.Battery, "Battery, V:", nil) }},
		{"k", "clock", func(k *Keeper, _ time.Time) []string { k.askClock(nil); return nil }},
		{"r", "radio clock", func(k *Keeper, _ time.Time) []string {
			return k.askNumber(dwells.RadioClock, "Radio's clock, s ahead of UTC (-: behind):", nil)
		}},
		{"x", "end", (*Keeper).askEnd},
		{"q", "leave", func(k *Keeper, _ time.Time) []string {
			k.left = true
			return []string{"Left. The log has everything; the same command goes on from here."}
		}},
	}
}

// Enter takes what the operator typed: the answer to the open question, else a key. A blank is the key c. It
// gives what is to be said. With nothing typed it says where things stand.
func (k *Keeper) Enter(now time.Time, text string) []string {
	if q := k.ask; q != nil {
		k.ask = nil
		return q.answer(now, strings.TrimSpace(text))
	}
	typed := strings.ToLower(strings.TrimSpace(text))
	switch {
	case typed == "" && text != "":
		typed = "c"
	case typed == "":
		return k.Status(now)
	}
	for _, one := range keys() {
		if typed == one.letter || typed == one.label {
			return one.do(k, now)
		}
	}
	if typed == "?" || typed == "h" || typed == "help" {
		return Legend(80)
	}
	return []string{fmt.Sprintf("There is no key %q; ? lists them.", cleanNote(text))}
}

// Cancel takes an open question back; nothing is written.
func (k *Keeper) Cancel() []string {
	if k.ask == nil {
		return nil
	}
	k.ask = nil
	return []string{nothing}
}

const nothing = "Nothing written."

// connected confirms the arm of the running dwell, or between dwells that of the next one.
func (k *Keeper) connected(now time.Time) []string {
	running, next := k.running(k.frozen(now))
	_, paused := k.pausedAt()
	switch {
	case running >= 0 && !paused && !k.all[running].Confirmed:
		return k.confirm(running, now, now)
	case running >= 0 && !paused:
		d := k.all[running]
		return []string{fmt.Sprintf("%s on %s is confirmed already, and stays until %s. Nothing written.", k.trial.name(d.Arm), d.Band, clock(d.End))}
	case next == len(k.all):
		return []string{"The last dwell is over. Nothing written; key e writes down an earlier one."}
	case k.all[next].Confirmed:
		d := k.all[next]
		return []string{fmt.Sprintf("%s on %s is confirmed already. Wait until %s. Nothing written.", k.trial.name(d.Arm), d.Band, clock(d.Start))}
	}
	return k.confirm(next, now, now)
}

// confirm writes that the arm of a dwell was connected at a moment of the machine's clock.
func (k *Keeper) confirm(i int, happened, now time.Time) []string {
	e := at(k.event(now, dwells.Connected), k.all[i])
	e.Time = happened
	d := k.all[i]
	said := k.write(e, fmt.Sprintf("%s  connected: %s on %s", clock(k.utc(happened)), k.trial.name(d.Arm), d.Band))
	if i >= len(k.all) || !k.all[i].Confirmed || len(said) > 1 || k.all[i].LateS == 0 {
		return said
	}
	if !k.all[i].Kept {
		return append(said, fmt.Sprintf("%s late, in a block that does not count.", seconds(k.all[i].LateS)))
	}
	return append(said, fmt.Sprintf("%s late, before the first slot that counts: nothing is lost.", seconds(k.all[i].LateS)))
}

func seconds(s float64) string { return strconv.FormatFloat(math.Round(s*10)/10, 'f', -1, 64) + " s" }

// connectedEarlier asks for the time of a dwell that was forgotten: the latest one that had begun.
func (k *Keeper) connectedEarlier(now time.Time) []string {
	var open []int
	for i, d := range k.all {
		if !d.Confirmed && !d.Start.After(k.frozen(now)) {
			open = append(open, i)
		}
	}
	if len(open) == 0 {
		return []string{"No dwell that has begun lacks its confirmation. " + nothing}
	}
	i := open[len(open)-1]
	d := k.all[i]
	k.ask = &question{
		prompt: fmt.Sprintf("When was %s on %s connected (planned %s)? HH:MM or HH:MM:SS UTC, Enter: leave:", k.trial.name(d.Arm), d.Band, clock(d.Start)),
		answer: func(now time.Time, text string) []string {
			if text == "" {
				return []string{nothing}
			}
			happened, problem := k.connectedTime(text, i)
			if problem == "" && happened.After(k.utc(now)) {
				problem = fmt.Sprintf("%s is still to come", clock(happened))
			}
			if problem != "" {
				return append([]string{upperFirst(problem) + "."}, k.connectedEarlier(now)...)
			}
			return k.confirm(i, happened.Add(k.ahead()), now)
		},
	}
	return nil
}

// connectedTime reads when the arm of a dwell was connected: after the dwell before it began, and before the
// next one ends.
func (k *Keeper) connectedTime(text string, i int) (t time.Time, problem string) {
	d := k.all[i]
	if t, problem = readTime(text, d.Start); problem != "" {
		return t, problem
	}
	earliest, latest := d.Start.Add(-2*time.Hour), d.End.Add(2*time.Hour)
	if i > 0 {
		earliest = k.all[i-1].Start
	}
	if i+1 < len(k.all) {
		latest = k.all[i+1].End
	}
	if t.Before(earliest) || t.After(latest) {
		return t, fmt.Sprintf("%s can't belong to this dwell: it must lie between %s and %s", clock(t), clock(earliest), clock(latest))
	}
	return t, ""
}

// readTime reads HH:MM or HH:MM:SS as the moment of that clock time which is nearest to the expected one: so
// a time after midnight is on the next day.
func readTime(text string, near time.Time) (t time.Time, problem string) {
	bare := strings.TrimSuffix(strings.ToUpper(strings.TrimSpace(text)), "Z")
	bare = strings.NewReplacer(".", ":", " ", ":").Replace(strings.TrimSpace(bare))
	of, err := time.Parse("15:04:05", bare)
	if err != nil {
		of, err = time.Parse("15:04", bare)
	}
	if err != nil {
		return t, fmt.Sprintf("%q is no time: write UTC as HH:MM or HH:MM:SS, for example 04:07", cleanNote(text))
	}
	near = near.UTC()
	t = time.Date(near.Year(), near.Month(), near.Day(), of.Hour(), of.Minute(), of.Second(), 0, time.UTC)
	for _, other := range []time.Time{t.AddDate(0, 0, -1), t.AddDate(0, 0, 1)} {
		if other.Sub(near).Abs() < t.Sub(near).Abs() {
			t = other
		}
	}
	return t, ""
}

// pauseOrResume pauses at once if no block is lost by it, and asks if one is.
func (k *Keeper) pauseOrResume(now time.Time) []string {
	if _, paused := k.pausedAt(); paused {
		return k.write(k.event(now, dwells.Resume), clock(k.utc(now))+"  go on")
	}
	if k.over(now) {
		return []string{"The last dwell is over: there is nothing to pause. " + nothing}
	}
	e := k.event(now, dwells.Pause)
	out, list := k.tryOut(e)
	if len(list.Faults()) > 0 {
		return k.notWritten(list.Faults())
	}
	lost := k.newlyLost(out)
	if len(lost) == 0 {
		return k.pause(now)
	}
	k.ask = &question{
		prompt: fmt.Sprintf("A pause now drops %s. Pause? y or n:", strings.Join(lost, " and ")),
		answer: func(now time.Time, text string) []string {
			if !yes(text) {
				return []string{nothing}
			}
			return k.pause(now)
		},
	}
	return nil
}

func (k *Keeper) pause(now time.Time) []string {
	return k.write(k.event(now, dwells.Pause), clock(k.utc(now))+"  pause. Send nothing; p goes on.")
}

// newlyLost names the blocks under way that would be lost.
func (k *Keeper) newlyLost(out dwells.Outcome) []string {
	var lost []string
	for _, group := range schedule.Blocks(k.trial.Planned) {
		was, is := k.outcome.Dwells[group[0]], out.Dwells[group[0]]
		if was.Kept && !is.Kept && !notRun(is) {
			lost = append(lost, fmt.Sprintf("block %d on %s", is.Block, is.Band))
		}
	}
	return lost
}

func yes(text string) bool { return text == "y" || text == "Y" || strings.EqualFold(text, "yes") }

// askText asks for words.
func (k *Keeper) askText(kind, prompt string) []string {
	k.ask = &question{prompt: prompt, answer: func(now time.Time, text string) []string {
		if cleanNote(text) == "" {
			return []string{nothing}
		}
		e := at(k.event(now, kind), k.place(now))
		e.Note = text
		return k.write(e, clock(k.utc(now))+"  "+kind+": "+cleanNote(text))
	}}
	return nil
}

// askNumber asks for a reading; then is what comes next, nil if nothing does.
func (k *Keeper) askNumber(kind, prompt string, then func(now time.Time) []string) []string {
	next := func(now time.Time) []string {
		if then == nil {
			return nil
		}
		return then(now)
	}
	k.ask = &question{prompt: prompt + " ", answer: func(now time.Time, text string) []string {
		if text == "" {
			return append([]string{nothing}, next(now)...)
		}
		v, problem := readNumber(kind, text)
		if problem != "" {
			k.askNumber(kind, prompt, then)
			return []string{problem}
		}
		return append(k.writeReading(now, kind, v), next(now)...)
	}}
	return nil
}

func (k *Keeper) writeReading(now time.Time, kind string, v float64) []string {
	e := k.event(now, kind)
	if kind == dwells.Power || kind == dwells.Battery {
		e = at(e, k.place(now))
	}
	e.Value, e.HasValue = v, true
	return k.write(e, fmt.Sprintf("%s  %s: %s %s", clock(k.utc(now)), strings.ReplaceAll(kind, "_", " "), plain(v), unit(kind)))
}

// units says what each kind of reading is counted in, and what it can be: beyond that lies a slip.
var units = map[string]struct {
	unit        string
	least, most float64
}{
	dwells.Power:      {"W", 0, 5000},
	dwells.Battery:    {"V", 0, 500},
	dwells.Clock:      {"s", -86400, 86400},
	dwells.RadioClock: {"s", -86400, 86400},
}

func unit(kind string) string { return units[kind].unit }

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// readNumber takes a decimal comma too: fingers are cold.
func readNumber(kind, text string) (v float64, problem string) {
	u := units[kind]
	bare := strings.TrimSpace(strings.TrimSuffix(strings.ToUpper(text), strings.ToUpper(u.unit)))
	bare = strings.NewReplacer(",", ".", "\u2212", "-").Replace(bare)
	v, err := strconv.ParseFloat(bare, 64)
	if err != nil || math.IsNaN(v) {
		return 0, fmt.Sprintf("%q is no number; Enter alone leaves it.", cleanNote(text))
	}
	if v < u.least || v > u.most {
		return 0, fmt.Sprintf("%s %s can't be: it must lie between %s and %s.", plain(v), u.unit, plain(u.least), plain(u.most))
	}
	return v, ""
}

// askClock asks by how much the machine's clock is off.
func (k *Keeper) askClock(then func(now time.Time) []string) {
	k.ask = &question{
		prompt: "Clock check: by how many s is this clock ahead of UTC (-: behind)? Enter: not known: ",
		answer: func(now time.Time, text string) []string {
			next := func(said []string) []string {
				if then != nil && k.ask == nil {
					said = append(said, then(now)...)
				}
				return said
			}
			if text == "" {
				return next([]string{"No clock reading. " + nothing})
			}
			v, problem := readNumber(dwells.Clock, text)
			if problem != "" {
				k.askClock(then)
				return []string{problem}
			}
			return next(k.takeClock(now, v, then))
		},
	}
}

// takeClock writes a clock reading that can be corrected for. One that is too far off would have the log
// refused: as long as the session has no times it is not written, since the clock can be set; after that it is
// the truth about the times in the log, and the operator decides.
func (k *Keeper) takeClock(now time.Time, v float64, then func(now time.Time) []string) []string {
	e := k.event(now, dwells.Clock)
	e.Value, e.HasValue = v, true
	_, list := k.tryOut(e)
	faults := list.Faults()
	if len(faults) == 0 {
		said := k.writeReading(now, dwells.Clock, v)
		if math.Abs(v) > silentClockS && len(said) > 0 && !strings.HasPrefix(said[0], "NOT") {
			said = append(said, fmt.Sprintf("Times of this session are corrected by %s s; set the clock before the next one.", plain(-v)))
		}
		return said
	}
	said := []string{upperFirst(faults[0].Msg) + ": too far off to be corrected for."}
	if !k.hasTimes() {
		k.askClock(then)
		return append(said, "Set this machine's clock now, then read it again. "+nothing)
	}
	k.ask = &question{
		prompt: "The log has times by this clock. Written down, the reading makes `fairlobe run` refuse the log until they are mended. Write it? y or n:",
		answer: func(now time.Time, text string) []string {
			if !yes(text) {
				k.askClock(then)
				return []string{nothing}
			}
			return k.writeFatal(e, faults[0].Mend)
		},
	}
	return said
}

// hasTimes tells whether the session has entries whose times matter.
func (k *Keeper) hasTimes() bool {
	return slices.ContainsFunc(k.log.Events(), func(e dwells.Event) bool {
		return e.Session == k.session && slices.Contains([]string{dwells.Start, dwells.Connected, dwells.Pause, dwells.Resume, dwells.Drop}, e.Kind)
	})
}

// writeFatal writes a clock reading that has the log refused, and leaves: the schedule can't be followed any more.
func (k *Keeper) writeFatal(e dwells.Event, mend string) []string {
	if err := k.log.Append(e); err != nil {
		return []string{"NOT WRITTEN: " + err.Error() + ". Note it on paper."}
	}
	k.left = true
	return []string{"Written. The log is refused until it is mended: " + mend + ".", "Then start again."}
}

// askDrop asks which block and why.
func (k *Keeper) askDrop(now time.Time) []string {
	d := k.place(now)
	k.ask = &question{
		prompt: fmt.Sprintf("Drop which block? Enter: %d on %s; all: %d on every band; or a number, or band and number; n: none:", d.Block, d.Band, d.Block),
		answer: func(now time.Time, text string) []string {
			if strings.EqualFold(text, "n") || strings.EqualFold(text, "none") {
				return []string{nothing}
			}
			band, block, problem := k.readBlock(text, d)
			if problem != "" {
				return append([]string{problem}, k.askDrop(now)...)
			}
			k.askReason(band, block)
			return nil
		},
	}
	return nil
}

// readBlock reads "", "3", "all", "all 3" or "20m 3"; an empty band means every band.
func (k *Keeper) readBlock(text string, here dwells.Applied) (band string, block int, problem string) {
	band, block = here.Band, here.Block
	for _, word := range strings.Fields(text) {
		n, err := strconv.Atoi(word)
		switch {
		case strings.EqualFold(word, "all"):
			band = ""
		case err == nil:
			block = n
		default:
			band = strings.ToLower(word)
		}
	}
	known := slices.ContainsFunc(k.all, func(d dwells.Applied) bool {
		return d.Block == block && (band == "" || strings.EqualFold(d.Band, band))
	})
	if !known {
		return "", 0, fmt.Sprintf("The session has no block %q.", cleanNote(text))
	}
	for _, d := range k.all {
		if strings.EqualFold(d.Band, band) {
			band = d.Band
		}
	}
	return band, block, ""
}

func blockWords(band string, block int) string {
	if band == "" {
		return fmt.Sprintf("block %d on every band", block)
	}
	return fmt.Sprintf("block %d on %s", block, band)
}

// askReason asks why a block is dropped, and again if the reason seems to look at signals.
func (k *Keeper) askReason(band string, block int) {
	k.ask = &question{
		prompt: fmt.Sprintf("Why drop %s? Never for how signals were. Enter: don't:", blockWords(band, block)),
		answer: func(now time.Time, text string) []string {
			if cleanNote(text) == "" {
				return []string{nothing}
			}
			e := k.dropEvent(now, band, block, text)
			if !k.looksAtSignals(e) {
				return k.dropOrAskWhen(e)
			}
			k.ask = &question{
				prompt: "That reason seems to look at signals, which makes the verdict doubtful. Drop all the same? y or n:",
				answer: func(now time.Time, text string) []string {
					if !yes(text) {
						return []string{nothing}
					}
					e.Entered = now
					return k.dropOrAskWhen(e)
				},
			}
			return nil
		},
	}
}

func (k *Keeper) dropEvent(now time.Time, band string, block int, reason string) dwells.Event {
	e := k.event(now, dwells.Drop)
	e.Band, e.Block, e.Note = band, block, cleanNote(reason)
	return e
}

// looksAtSignals asks package dwells, which warns of such a reason.
func (k *Keeper) looksAtSignals(e dwells.Event) bool {
	e.Line = math.MaxInt32 // of all warnings the one of this line
	_, list := k.tryOut(e)
	for _, d := range list {
		if d.Code == dwells.CodeDropReason && d.Pos.Line == e.Line {
			return true
		}
	}
	return false
}

// dropOrAskWhen asks when the reason of a drop occurred if the block is over: a lost block counts for the arm that
// was connected then.
func (k *Keeper) dropOrAskWhen(e dwells.Event) []string {
	var first, last time.Time
	for _, d := range k.all {
		if d.Block == e.Block && (e.Band == "" || d.Band == e.Band) {
			if first.IsZero() {
				first = d.Start
			}
			last = d.End
		}
	}
	if !last.Before(k.utc(e.Time)) {
		return k.drop(e)
	}
	k.ask = &question{
		prompt: fmt.Sprintf("When did that happen? HH:MM UTC, from %s to %s; Enter: not known:", clock(first), clock(last)),
		answer: func(now time.Time, text string) []string {
			e.Entered = now
			if text == "" {
				return k.drop(e)
			}
			t, problem := readTime(text, first)
			if problem == "" && (t.Before(first.Add(-time.Minute)) || t.After(last)) {
				problem = fmt.Sprintf("%s is not in that block", clock(t))
			}
			if problem != "" {
				return append([]string{upperFirst(problem) + "."}, k.dropOrAskWhen(e)...)
			}
			e.Time = t.Add(k.ahead())
			return k.drop(e)
		},
	}
	return nil
}

func (k *Keeper) drop(e dwells.Event) []string {
	return k.write(e, fmt.Sprintf("%s  drop: %s: %s", clock(k.utc(e.Time)), blockWords(e.Band, e.Block), e.Note))
}

// wrongArm is the reason of a drop by key w.
const wrongArm = "wrong arm noticed"

func (k *Keeper) askWrongArm(now time.Time) []string {
	d := k.place(now)
	k.ask = &question{
		prompt: fmt.Sprintf("Wrong arm: drop block %d on %s? y; a: on every band; n: no (d drops an earlier one):", d.Block, d.Band),
		answer: func(now time.Time, text string) []string {
			switch {
			case yes(text):
				return k.drop(k.dropEvent(now, d.Band, d.Block, wrongArm))
			case strings.EqualFold(text, "a") || strings.EqualFold(text, "all"):
				return k.drop(k.dropEvent(now, "", d.Block, wrongArm))
			}
			return []string{nothing}
		},
	}
	return nil
}

// askEnd ends the session after its last dwell; before it, only if the operator writes the word out.
func (k *Keeper) askEnd(now time.Time) []string {
	if k.over(now) {
		return k.end(now)
	}
	k.ask = &question{
		prompt: "The session is not over: blocks that are not complete won't count, and the trial becomes an open one for good. To end it write END; Enter: go on:",
		answer: func(now time.Time, text string) []string {
			if !strings.EqualFold(text, "end") {
				return []string{nothing}
			}
			return k.end(now)
		},
	}
	return nil
}

// end writes the end and asks for the clock once more.
func (k *Keeper) end(now time.Time) []string {
	said := k.write(k.event(now, dwells.End), fmt.Sprintf("%s  end of session %d", clock(k.utc(now)), k.session))
	if !k.Ended() {
		return said
	}
	counting, lost := k.tally(k.utc(now))
	said = append(said, fmt.Sprintf("Blocks that count: %d; lost: %d. Copy the log away: %s", counting, lost, k.log.Path()))
	k.askClock(func(time.Time) []string {
		k.left = true
		return nil
	})
	return said
}

// StartNow moves the session so that it begins at the next slot edge. It moves by whole periods of the station's
// sending, so that every dwell keeps its slots.
func (k *Keeper) StartNow(now time.Time) []string {
	period := time.Duration(schedule.PeriodMs(k.trial.SlotMs, k.trial.Sends)) * time.Millisecond
	i := slices.IndexFunc(k.trial.Planned, func(d schedule.Dwell) bool { return d.Session == k.session })
	planned := k.trial.Planned[i].Start
	by := k.utc(now).Sub(planned)
	periods := by / period
	if by > periods*period {
		periods++
	}
	e := k.event(now, dwells.Start)
	e.Time = planned.Add(periods * period).Add(k.ahead())
	return k.write(e, fmt.Sprintf("%s  start of session %d", clock(k.utc(now)), k.session))
}
