package planning

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairlobe/experiments"
)

// azimuthName is the variable that turning a wire changes.
const azimuthName = "slope_azimuth_deg"

// hiddenBelow is what a harmonic must keep of itself to be seen.
const hiddenBelow = 0.2

// shownBy is the factor with which harmonic k of a pattern shows in the difference of the pattern and the same pattern
// turned by so many degrees: |1 - exp(i k delta)| = 2 |sin(k delta/2)|.
func shownBy(k int, turnedDeg float64) float64 {
	return 2 * math.Abs(math.Sin(float64(k)*turnedDeg*math.Pi/360))
}

// turned gives the angle between two arms' wires, 0 to 180 degrees; false if either is not told.
func (p *Plan) turned(c experiments.Claim) (float64, bool) {
	a, ok1 := p.in.Experiment.Number(c.Arms[0], azimuthName)
	b, ok2 := p.in.Experiment.Number(c.Arms[1], azimuthName)
	return math.Abs(math.Remainder(a-b, 360)), ok1 && ok2
}

// harmonicsOf gives those that a shape asks for.
func harmonicsOf(shape string) []int {
	switch shape {
	case "two-sided":
		return []int{2}
	case "any":
		return []int{1, 2}
	}
	return []int{1}
}

// apart says what the arms can and can't tell apart, one paragraph for each.
func (p *Plan) apart() []string {
	var out []string
	seen := map[string]bool{}
	add := func(text string) {
		if text != "" && !seen[text] {
			seen[text] = true
			out = append(out, text)
		}
	}
	for _, c := range p.in.Experiment.Claims {
		if len(c.Arms) != 2 || c.Kind == "match" {
			continue
		}
		add(p.together(c))
		if c.Kind == "directivity" {
			add(p.turnWords(c))
		}
	}
	for _, text := range p.erections() {
		add(text)
	}
	return out
}

// stated gives the names of what is declared to differ.
func (p *Plan) stated(c experiments.Claim) []string {
	var out []string
	for _, d := range p.in.Experiment.Differences(c.Arms...) {
		if !d.Derived {
			out = append(out, d.Name)
		}
	}
	return out
}

// inOrder gives arms as the experiment file lists them, so that two claims on the same arms say the same.
func (p *Plan) inOrder(arms []string) []string {
	var out []string
	for _, a := range p.in.Experiment.Arms {
		if slices.Contains(arms, a.Name) {
			out = append(out, a.Name)
		}
	}
	return out
}

func (p *Plan) together(c experiments.Claim) string {
	names := p.stated(c)
	arms := and(p.inOrder(c.Arms))
	switch len(names) {
	case 0:
		return fmt.Sprintf("%s are declared the same: a difference comes from something that is not declared.", arms)
	case 1:
		return fmt.Sprintf("%s differ in %s alone. What follows from it (slope, feedline that hangs, distance to the ground) changes with it.", arms, names[0])
	}
	return fmt.Sprintf("%s differ in %s together: what is found can't be put down to one of them. An arm that changes one of them alone would tell.", arms, and(names))
}

// turnWords says what turning the wire shows of its pattern.
func (p *Plan) turnWords(c experiments.Claim) string {
	deg, told := p.turned(c)
	switch {
	case !told:
		return fmt.Sprintf("%q asks for a direction, and the azimuths of the wires are not told: what turning shows can't be said. Declare %s.", c.Name, azimuthName)
	case deg == 0:
		return fmt.Sprintf("%q: both wires run the same way. A lobe that both have alike is not seen; only how the other changes alter the pattern is.", c.Name)
	}
	text := fmt.Sprintf("%q: the wire is turned by %g degrees.", c.Name, deg)
	for _, k := range harmonicsOf(c.Shape) {
		if f := shownBy(k, deg); f < hiddenBelow {
			text += fmt.Sprintf(" Harmonic %d of its pattern, which %q asks for, is hidden (it shows %.2f times): turn by %s degrees instead.", k, c.Shape, f, betterTurn(c.Shape))
		} else {
			text += fmt.Sprintf(" Harmonic %d of its pattern, which %q asks for, shows %.2f times.", k, c.Shape, f)
		}
	}
	if hidden := hiddenAt(deg); len(hidden) > 0 {
		text += " Hidden of the first eight: " + and(hidden) + "."
	}
	return text
}

// betterTurn is the angle that shows the harmonics of a shape most.
func betterTurn(shape string) string {
	switch shape {
	case "two-sided":
		return "90"
	case "any":
		return "120"
	}
	return "180"
}

func hiddenAt(deg float64) []string {
	var out []string
	for k := 1; k <= 8; k++ {
		if shownBy(k, deg) < hiddenBelow {
			out = append(out, fmt.Sprint(k))
		}
	}
	return out
}

// erections says for how many putting-ups of an arm the trial speaks.
func (p *Plan) erections() []string {
	var once, more []string
	for _, a := range p.in.Experiment.Arms {
		var numbers []int
		for _, s := range p.in.Experiment.Schedule.Sessions {
			n := max(1, s.Erection[a.Name])
			if !slices.Contains(numbers, n) {
				numbers = append(numbers, n)
			}
		}
		if len(numbers) < 2 {
			once = append(once, a.Name)
		} else {
			more = append(more, fmt.Sprintf("%s %d times", a.Name, len(numbers)))
		}
	}
	switch {
	case len(once) > 0:
		return []string{and(once) + " put up once: the verdict speaks of these erections and not of the design. Two erections of one design may lie 2.8 dB apart in 19 of 20 cases (assumed; nobody has published it)."}
	case len(more) > 0:
		return []string{"Put up: " + and(more) + ". That averages a little over erections; a claim on the design wants 3 or more."}
	}
	return nil
}

// and joins words as in a sentence.
func and(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
