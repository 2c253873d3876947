package trials

import (
	"fmt"
	"math"
	"strings"

	"fairlobe/datasets/world"
	"fairlobe/experiments"
)

// truth is what is true of a claim on a band: first arm minus second.
type truth struct {
	stated bool // there is a truth to hold this kind against
	none   bool // it is that there is nothing to find
	fits   bool // the lobes are of the declared shape, and receivers do not differ for themselves

	levelDB float64 // all round; where receivers differ for themselves, the mean of the population
	lobes   [3]lobe // by harmonic, from 1
	heardDB float64 // mean over the receivers heard; NaN where it is not asked for
	frontDB float64 // front less back over the receivers heard; NaN where no axis was named
}

// lobe is amplitude * cos(harmonic * (azimuth - toward)) as north*cos(harmonic*azimuth) + east*sin(harmonic*azimuth).
type lobe struct{ north, east float64 }

// even is what an amplitude must reach, dB, to be more than the rounding of equal lobes that cancel.
const even = 1e-9

func (l lobe) amplitudeDB() float64 {
	if a := math.Hypot(l.north, l.east); a > even {
		return a
	}
	return 0
}

// angleDeg is the direction times the harmonic, degrees.
func (l lobe) angleDeg() float64 { return math.Atan2(l.east, l.north) * 180 / math.Pi }

func (t truth) lobed() bool { return t.lobes[1].amplitudeDB() > 0 || t.lobes[2].amplitudeDB() > 0 }

// differ tells whether receivers differ for themselves in how they see the arms.
func (sc *scene) differ() bool { return sc.params.ReceiverSD > 0 || sc.params.RegionSD > 0 }

// truthOf gives the truth of an entry's claim.
func (sc *scene) truthOf(c *carried, e entry) truth {
	t := truth{heardDB: math.NaN(), frontDB: math.NaN()}
	if len(e.Arms) != 2 {
		return t
	}
	var band world.Band
	for _, b := range sc.trial.Bands {
		if b.Name == e.Band {
			band = b
		}
	}
	t.levelDB = band.Arms[e.Arms[0]].LevelDB - band.Arms[e.Arms[1]].LevelDB
	if e.sent() {
		t.levelDB += sc.params.PowerDB[e.Arms[0]] - sc.params.PowerDB[e.Arms[1]]
	}
	t.lobes = lobesOf(band.Arms[e.Arms[0]], band.Arms[e.Arms[1]])
	t.stateFor(e, sc.claimOf(e).StepDB)
	t.fits = !sc.differ() && (e.Shape != "one-sided" || t.lobes[2].amplitudeDB() == 0) && (e.Shape != "two-sided" || t.lobes[1].amplitudeDB() == 0)
	if t.lobed() || sc.differ() {
		t.heardDB = c.meanHeard(e, func(world.Station) bool { return true }) + t.levelDB - (band.Arms[e.Arms[0]].LevelDB - band.Arms[e.Arms[1]].LevelDB)
	}
	if e.FrontToBack != nil {
		t.frontDB = sc.frontOf(c, e, t)
	}
	return t
}

// stateFor says whether there is a truth for this kind of claim, and whether it is that there is nothing to find.
func (t *truth) stateFor(e entry, step *float64) {
	switch e.Kind {
	case "level", "null", "heard_by":
		t.stated, t.none = true, math.Abs(t.levelDB) <= even && !t.lobed()
	case "known_step":
		t.stated, t.none = true, step != nil && math.Abs(t.levelDB-*step) <= even && !t.lobed()
	case "directivity":
		t.stated, t.none = true, !t.lobed()
	}
}

// claimOf gives the claim that an entry answers.
func (sc *scene) claimOf(e entry) experiments.Claim {
	for _, c := range sc.exp.Claims {
		if c.Name == e.Claim {
			return c
		}
	}
	return experiments.Claim{}
}

func (e entry) sent() bool { return e.Direction == nil || *e.Direction == "sent" }

// lobesOf adds up the lobes of two patterns by harmonic, first minus second.
func lobesOf(first, second world.Pattern) [3]lobe {
	var out [3]lobe
	add := func(p world.Pattern, sign float64) {
		for _, l := range p.Lobes {
			angle := float64(l.Harmonic) * l.TowardDeg * math.Pi / 180
			out[l.Harmonic].north += sign * l.AmplitudeDB * math.Cos(angle)
			out[l.Harmonic].east += sign * l.AmplitudeDB * math.Sin(angle)
		}
	}
	add(first, 1)
	add(second, -1)
	return out
}

// meanHeard is the mean of the real differences over the stations that were heard and are wanted, each with the weight of
// its reports, as the patterns have it; NaN of none.
func (c *carried) meanHeard(e entry, wanted func(world.Station) bool) float64 {
	var sum, n float64
	for _, r := range c.came.Receptions {
		far := c.came.Stations[r.Station]
		if !r.Passed || r.Sent != e.sent() || c.planned[r.Dwell].Band != e.Band || r.Slot.Before(c.planned[r.Dwell].SettleEnd) || !wanted(far) {
			continue
		}
		if db, ok := c.came.DifferenceDB(c.trial, e.Band, e.Arms[0], e.Arms[1], r.Station); ok {
			sum, n = sum+db, n+1
		}
	}
	return sum / n
}

// frontOf is the mean over the stations within 60 degrees of the axis less that over those from 120 degrees on.
func (sc *scene) frontOf(c *carried, e entry, t truth) float64 {
	if !t.lobed() && !sc.differ() {
		return 0
	}
	off := func(s world.Station) float64 {
		return math.Abs(math.Remainder(s.BearingDeg-e.FrontToBack.AxisDeg, 360))
	}
	return c.meanHeard(e, func(s world.Station) bool { return off(s) <= 60 }) - c.meanHeard(e, func(s world.Station) bool { return off(s) >= 120 })
}

// words say what is true.
func (t truth) words(kind string, differ bool) string {
	if !t.stated {
		return "no truth is stated for this kind"
	}
	if kind == "directivity" {
		return t.lobeWords()
	}
	text := "no difference"
	switch {
	case t.lobed():
		text = fmt.Sprintf("%+.2f dB all round, and it depends on the direction", t.levelDB)
	case math.Abs(t.levelDB) > even:
		text = fmt.Sprintf("%+.2f dB", t.levelDB)
	}
	if differ {
		text += ", in the mean of all receivers, which differ"
	}
	return text
}

func (t truth) lobeWords() string {
	if !t.lobed() {
		return "no lobe"
	}
	var parts []string
	for harmonic := 1; harmonic < len(t.lobes); harmonic++ {
		l := t.lobes[harmonic]
		if l.amplitudeDB() == 0 {
			continue
		}
		form := "a lobe of %.2f dB toward %.0f degrees"
		if harmonic == 2 {
			form = "two lobes of %.2f dB along %.0f degrees"
		}
		parts = append(parts, fmt.Sprintf(form, l.amplitudeDB(), math.Mod(l.angleDeg()+360, 360)/float64(harmonic)))
	}
	return strings.Join(parts, " and ")
}
