package rehearsal

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"fairlobe/datasets/world"
	"fairlobe/experiments"
)

// Truth is what the arms are in the invented world: a pattern for each band and arm. It is made by ParseTruth.
type Truth struct {
	bands, arms []string
	patterns    map[place]world.Pattern
}

// place is one arm on one band.
type place struct{ band, arm string }

// The limits of a statement, dB.
const (
	greatestLevelDB = 40
	greatestLobeDB  = 20
)

// ParseTruth reads statements of the truth about the arms of an experiment, whose schedule has these bands. Each is
//
//	[BAND:] ARM PART[, PART]...      or      [BAND:] none
//
// where a PART is one of
//
//	+2.5 dB                          all round
//	lobe 3 dB toward 300             3 dB more toward 300 degrees, 3 dB less toward 120
//	two lobes 4 dB along 30          4 dB more toward 30 and 210 degrees, 4 dB less toward 120 and 300
//	none
//
// Without BAND a statement is about all bands. What nothing is stated of is 0 dB all round. Nothing may be stated twice.
// Azimuths count clockwise from true north. An error names the statement and how to mend it.
func ParseTruth(e *experiments.Experiment, bands, statements []string) (*Truth, error) {
	t := &Truth{bands: bands, patterns: map[place]world.Pattern{}}
	for _, a := range e.Arms {
		t.arms = append(t.arms, a.Name)
	}
	stated := map[string]string{}
	for _, text := range statements {
		if err := t.take(text, stated); err != nil {
			return nil, fmt.Errorf("the truth %q: %w", text, err)
		}
	}
	return t, nil
}

// take reads one statement. stated holds what earlier ones were about.
func (t *Truth) take(text string, stated map[string]string) error {
	bands, rest, err := t.bandsOf(text)
	if err != nil {
		return err
	}
	if rest == "none" {
		return t.note(bands, t.arms, nil, text, stated)
	}
	arm, rest, err := t.armOf(rest)
	if err != nil {
		return err
	}
	if rest == "none" {
		return t.note(bands, []string{arm}, nil, text, stated)
	}
	var parts []part
	for piece := range strings.SplitSeq(rest, ",") {
		p, err := parsePart(strings.TrimSpace(piece))
		if err != nil {
			return err
		}
		parts = append(parts, p)
	}
	return t.note(bands, []string{arm}, parts, text, stated)
}

// note adds parts to the patterns of arms on bands.
func (t *Truth) note(bands, arms []string, parts []part, text string, stated map[string]string) error {
	for _, band := range bands {
		for _, arm := range arms {
			at := place{band, arm}
			for _, what := range whatOf(parts) {
				key := band + "\x00" + arm + "\x00" + what
				if before, twice := stated[key]; twice {
					return fmt.Errorf("the %s of %s on %s is stated already by %q; say it once", what, arm, band, before)
				}
				stated[key] = text
			}
			t.patterns[at] = withParts(t.patterns[at], parts)
		}
	}
	return nil
}

// whatOf names what parts are about; no parts are about everything.
func whatOf(parts []part) []string {
	all := []string{"level", "lobe", "pair of lobes"}
	if len(parts) == 0 {
		return all
	}
	var out []string
	for _, p := range parts {
		out = append(out, all[p.harmonic])
	}
	return out
}

func withParts(p world.Pattern, parts []part) world.Pattern {
	p.Lobes = slices.Clone(p.Lobes)
	for _, add := range parts {
		if add.harmonic == 0 {
			p.LevelDB += add.db
			continue
		}
		p.Lobes = append(p.Lobes, world.Lobe{Harmonic: add.harmonic, AmplitudeDB: add.db, TowardDeg: add.deg})
	}
	slices.SortStableFunc(p.Lobes, func(a, b world.Lobe) int { return cmp.Compare(a.Harmonic, b.Harmonic) })
	return p
}

// bandsOf takes the band off the front of a statement. A colon may also belong to the name of an arm.
func (t *Truth) bandsOf(text string) (bands []string, rest string, err error) {
	text = strings.Join(strings.Fields(text), " ")
	before, after, found := strings.Cut(text, ":")
	before = strings.TrimSpace(before)
	switch {
	case found && slices.Contains(t.bands, before):
		return []string{before}, strings.TrimSpace(after), nil
	case found && !slices.ContainsFunc(t.arms, func(arm string) bool { return strings.HasPrefix(text, arm) }):
		return nil, "", fmt.Errorf("%q is no band of the schedule; its bands are %s", before, list(t.bands))
	}
	return t.bands, text, nil
}

// armOf takes the name of an arm off the front of a text; of two that fit, the longer.
func (t *Truth) armOf(text string) (arm, rest string, err error) {
	for _, name := range t.arms {
		if (text == name || strings.HasPrefix(text, name+" ")) && len(name) > len(arm) {
			arm = name
		}
	}
	if arm == "" {
		word, _, _ := strings.Cut(text, " ")
		return "", "", fmt.Errorf("it names no arm where %q stands; the arms are %s: write for example %q", word, list(t.arms), t.arms[0]+" +2 dB")
	}
	if rest = strings.TrimSpace(text[len(arm):]); rest == "" {
		return "", "", fmt.Errorf("it says nothing of %s; write for example %q", arm, arm+" +2 dB")
	}
	return arm, rest, nil
}

// part is one part of a statement.
type part struct {
	harmonic int // 0: level
	db, deg  float64
}

var (
	levelForm = regexp.MustCompile(`^([+-]?\d+(?:\.\d+)?) ?dB$`)
	lobeForm  = regexp.MustCompile(`^(lobe|two lobes) ([+-]?\d+(?:\.\d+)?) ?dB (toward|along) (\d+(?:\.\d+)?)$`)
)

const partForms = `write "+2.5 dB", "lobe 3 dB toward 300" or "two lobes 4 dB along 30", with decimal points`

func parsePart(text string) (part, error) {
	text = strings.ReplaceAll(text, "\u2212", "-") // as the answers write it
	if m := levelForm.FindStringSubmatch(text); m != nil {
		db, err := within(m[1], "level", -greatestLevelDB, greatestLevelDB)
		return part{db: db}, err
	}
	m := lobeForm.FindStringSubmatch(text)
	if m == nil {
		return part{}, fmt.Errorf("%q can't be read; %s", text, partForms)
	}
	p := part{harmonic: 1}
	want := "toward"
	if m[1] == "two lobes" {
		p.harmonic, want = 2, "along"
	}
	if m[3] != want {
		return part{}, fmt.Errorf("%q can't be read; a single lobe is toward an azimuth, two lobes are along an axis", text)
	}
	var wrong, alsoWrong error
	p.db, wrong = within(m[2], "amplitude of a lobe", 0, greatestLobeDB)
	p.deg, alsoWrong = within(m[4], "azimuth", 0, 360)
	return p, errors.Join(wrong, alsoWrong)
}

func within(text, what string, least, greatest float64) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || v < least || v > greatest {
		return 0, fmt.Errorf("the %s is %s; give %g to %g", what, text, least, greatest)
	}
	return v, nil
}

// list joins names for a sentence.
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " and " + names[last]
}

// Pattern gives the truth about an arm on a band.
func (t *Truth) Pattern(band, arm string) world.Pattern { return t.patterns[place{band, arm}] }

// Words says the truth about each arm on each band, one line each, in a form that ParseTruth reads.
func (t *Truth) Words() []string {
	var out []string
	for _, band := range t.bands {
		for _, arm := range t.arms {
			out = append(out, fmt.Sprintf("%s: %s %s", band, arm, patternWords(t.Pattern(band, arm))))
		}
	}
	return out
}

func patternWords(p world.Pattern) string {
	var parts []string
	if p.LevelDB != 0 {
		parts = append(parts, fmt.Sprintf("%s dB", signed(p.LevelDB)))
	}
	for _, l := range p.Lobes {
		if l.AmplitudeDB == 0 {
			continue
		}
		form := "lobe %s dB toward %s"
		if l.Harmonic == 2 {
			form = "two lobes %s dB along %s"
		}
		parts = append(parts, fmt.Sprintf(form, plainNumber(l.AmplitudeDB, 4), plainNumber(l.TowardDeg, 4)))
	}
	if len(parts) == 0 {
		return "none"
	}
	return strings.Join(parts, ", ")
}

// signed writes a number with its sign.
func signed(v float64) string {
	text := plainNumber(v, 4)
	if v > 0 {
		text = "+" + text
	}
	return minus(text)
}

// minus writes the sign as the answers do.
func minus(text string) string { return strings.ReplaceAll(text, "-", "\u2212") }
