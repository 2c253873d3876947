package planning

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/stages/internal/contrast"
)

// Proposal is a change to the experiment file that can be pasted there.
type Proposal struct {
	Why string
	// Lines are TOML, each in place of the line or value of that key.
	Lines []string
}

const (
	mostProposed = 60 // blocks: more are no trial that anyone carries out
	shortDwell   = 2 * time.Minute
	longDwell    = 5 * time.Minute
)

// proposals are those that the figures ask for.
func (p *Plan) proposals() []Proposal {
	if p.in.Experiment.Schedule.File != "" {
		return nil
	}
	var out []Proposal
	if one, ok := p.moreBlocks(); ok {
		out = append(out, one)
	}
	if one, ok := p.otherDwell(); ok {
		out = append(out, one)
	}
	return append(out, p.otherTurns()...)
}

// moreBlocks: what the hungriest question needs for 80 %; questions that need more than anyone sends are left out.
func (p *Plan) moreBlocks() (Proposal, bool) {
	have, need, asker := 0, 0, ""
	for _, q := range p.Questions {
		have = max(have, q.Blocks)
		n := q.wanted()
		if n > need && n <= mostProposed {
			need, asker = n, q.Claim.Name
		}
	}
	if need <= have {
		return Proposal{}, false
	}
	return Proposal{fmt.Sprintf("%q needs %d blocks to be answered in 8 of 10 trials.", asker, need), p.blockLines(need)}, true
}

// wanted is the number of blocks that the best promise at hand asks for at 80 %, 0 if the question needs none.
func (q *Question) wanted() int {
	need := q.Different
	if need == nil {
		need = q.Same
	}
	switch {
	case need == nil:
		return 0
	case q.Simulated != nil && q.Simulated.Searched:
		return q.Simulated.At80 // 0: no number that was tried is enough
	case q.Recipe != nil && q.Recipe.At80 > 0:
		return max(need.At80, q.Recipe.At80)
	}
	return need.At80
}

// blockLines spread blocks over the sessions of the file.
func (p *Plan) blockLines(blocks int) []string {
	line := fmt.Sprintf("blocks = %d", blocks)
	if p.in.Experiment.Pos("schedule.sessions") == p.in.Experiment.Pos("schedule") { // they are not written
		return []string{line}
	}
	return append([]string{line}, p.sessionLines(blocks)...)
}

func (p *Plan) sessionLines(blocks int) []string {
	sessions := p.in.Experiment.Schedule.Sessions
	lines := []string{"sessions = ["}
	for i, s := range sessions {
		n := blocks / len(sessions)
		if i < blocks%len(sessions) {
			n++
		}
		text := fmt.Sprintf("  { start = %s, blocks = %d", s.Start.UTC().Format(time.RFC3339), n)
		var put []string
		for _, arm := range slices.Sorted(maps.Keys(s.Erection)) {
			put = append(put, fmt.Sprintf("%s = %d", tomlKey(arm), s.Erection[arm]))
		}
		if len(put) > 0 {
			text += ", erection = { " + strings.Join(put, ", ") + " }"
		}
		lines = append(lines, text+" },")
	}
	return append(lines, "]")
}

// tomlKey writes a name as a key, quoted where it must be.
func tomlKey(name string) string {
	bare := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_'
	}
	if name != "" && !strings.ContainsFunc(name, func(r rune) bool { return !bare(r) }) {
		return name
	}
	return strconv.Quote(name)
}

// otherDwell: at least as long as reports are apart, and no longer than that asks for, since the band drifts.
func (p *Plan) otherDwell() (Proposal, bool) {
	s := p.in.Experiment.Schedule
	slot := p.in.Experiment.Fixed.Slot
	switch {
	case s.Dwell < s.SpotInterval:
		return Proposal{fmt.Sprintf("A receiver passes on one report in %g min: in shorter dwells most can report one arm only.", s.SpotInterval.Minutes()),
			[]string{"dwell_min = " + minutes(upTo(s.SpotInterval, slot))}}, true
	case s.SpotInterval == 0 && s.Dwell > longDwell && slot <= shortDwell/4:
		return Proposal{"Every decode is passed on, and the band drifts between two dwells: at equal time on the air short dwells find more.",
			[]string{"dwell_min = " + minutes(upTo(shortDwell+s.Settle, slot))}}, true
	}
	return Proposal{}, false
}

func upTo(d, slot time.Duration) time.Duration { return (d + slot - 1) / slot * slot }

func minutes(d time.Duration) string { return strconv.FormatFloat(d.Minutes(), 'g', -1, 64) }

// otherTurns: a wire turned so that the claimed shape is hidden.
func (p *Plan) otherTurns() []Proposal {
	var out []Proposal
	for _, c := range p.in.Experiment.Claims {
		if c.Kind != "directivity" || len(c.Arms) != 2 {
			continue
		}
		deg, told := p.turned(c)
		hidden := slices.ContainsFunc(harmonicsOf(c.Shape), func(k int) bool { return shownBy(k, deg) < hiddenBelow })
		if !told || deg == 0 || !hidden {
			continue
		}
		other, _ := p.in.Experiment.Number(c.Arms[1], azimuthName)
		better, _ := strconv.ParseFloat(betterTurn(c.Shape), 64)
		out = append(out, Proposal{fmt.Sprintf("%q: turned by %g degrees, the wire hides what the claim asks for. In arm %q:", c.Name, deg, c.Arms[0]),
			[]string{fmt.Sprintf("%s = %g", azimuthName, math.Mod(other-p.declination()+better+360, 360))}})
	}
	return out
}

// declination is what the file's azimuths count from: those of an experiment are turned to true north already.
func (p *Plan) declination() float64 {
	if p.in.Experiment.Fixed.AzimuthReference == "magnetic" {
		return p.in.Experiment.Fixed.DeclinationDeg
	}
	return 0
}

// tooMany says that the family is too large for the blocks; "" if it is not.
func (p *Plan) tooMany() string {
	if p.Family == 0 || p.Smallest <= p.Alpha {
		return ""
	}
	return fmt.Sprintf("TOO FEW BLOCKS FOR SO MANY QUESTIONS: the least p that the blocks can give is %.2g, and each of %s needs %.2g. No answer can pass. Plan %s or more on each band, or ask fewer questions.",
		p.Smallest, counted(p.Family, "question"), p.Alpha, counted(contrast.FewestBlocks(contrast.Alpha, p.Family), "block"))
}
