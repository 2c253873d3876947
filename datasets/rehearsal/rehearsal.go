package rehearsal

import (
	"cmp"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"fairlobe/datasets/world"
	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule"
)

// Options say how a trial is rehearsed.
type Options struct {
	Seed     uint64 // of all that is invented; the order of the arms has its own
	Truth    *Truth
	Scenario string // a name of world.Scenarios; "" for "usual"
	Stations int    // how many there are; 0 for the scenario's number
	Mishaps  bool   // things go wrong, and the files hold rows of no use
	// Adjust changes the numbers of the world, after the scenario and the experiment have had their say; nil: nothing.
	Adjust func(*world.Params)
}

// Rehearsal is a trial that was carried out in the invented world, as the files that an operator would then have.
type Rehearsal struct {
	Files    []File   // by name
	Happened []string // what went otherwise than planned, a sentence each
	Notes    []string // what else is part of the truth, a sentence each

	scene *scene
	truth *Truth
}

// Invent carries out the planned dwells of an experiment, sorted by start, and writes its data in the forms that its
// [[spots]], [[sweeps]] and [log] tables declare. The same arguments give the same bytes. Errors that the experiment is at
// fault of are a diag.List.
func Invent(e *experiments.Experiment, planned []schedule.Dwell, o Options) (*Rehearsal, error) {
	if err := canBeWritten(e, planned); err != nil {
		return nil, err
	}
	p, trial, err := World(e, o)
	if err != nil {
		return nil, err
	}
	var what outing
	if o.Mishaps && e.Switches != "" {
		what = mishaps(stream(o.Seed, "outing"), planned, schedule.PeriodMs(e.Fixed.Slot.Milliseconds(), e.Fixed.Sends))
	}
	trial.Dwells = what.carry(planned)
	s := &scene{exp: e, seed: o.Seed, mishaps: o.Mishaps, numbers: map[string]int{}, trial: trial}
	s.out, err = world.Run(p, s.trial)
	if errors.Is(err, world.ErrNoLand) {
		return nil, diag.List{{Pos: e.Pos("station.locator"), Msg: "the invented stations have nowhere to live: " + err.Error(),
			Mend: "rehearse at a place with land around it, or let within_km of the claims reach farther"}}
	}
	if err != nil {
		return nil, fmt.Errorf("carrying out the trial in the invented world: %w", err)
	}
	for n, station := range s.out.Stations {
		s.numbers[station.Call] = n
	}
	r := &Rehearsal{Happened: what.words(planned), Notes: s.notes(), scene: s, truth: o.Truth}
	r.Files, err = s.files(what)
	return r, err
}

// UsualScenario is the one without a difficulty of its own.
const UsualScenario = "usual"

// Scenarios gives the names of the scenarios, each with what is difficult in it, sorted by name.
func Scenarios() (names, what []string) {
	for _, p := range world.Scenarios() {
		names, what = append(names, p.Name), append(what, p.What)
	}
	return names, what
}

// stream gives the random numbers of one named part of the invention.
func stream(seed uint64, name string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte("rehearsal/" + name))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// World settles the invented world of an experiment: its numbers, and the trial that is still without dwells.
func World(e *experiments.Experiment, o Options) (world.Params, world.Trial, error) {
	p := world.Default()
	preset, ok := world.Scenario(cmp.Or(o.Scenario, UsualScenario))
	if !ok {
		return p, world.Trial{}, fmt.Errorf("there is no scenario %q", o.Scenario)
	}
	t, err := trialOf(e, o)
	if err != nil {
		return p, t, err
	}
	preset.Set(&p)
	p.NearestKm, p.FarthestKm = distances(t.Bands)
	p.PowerDB = powers(e)
	if o.Stations > 0 {
		p.Stations = o.Stations
	}
	if o.Adjust != nil {
		o.Adjust(&p)
	}
	return p, t, nil
}

// trialOf tells the world what is carried out, but for the dwells.
func trialOf(e *experiments.Experiment, o Options) (world.Trial, error) {
	t := world.Trial{Seed: o.Seed, Call: e.Station.Call, Slot: e.Fixed.Slot, Sends: e.Fixed.Sends}
	t.LatitudeDeg, t.LongitudeDeg = centre(e.Station.Locator)
	for _, name := range o.Truth.bands {
		b, ok := world.DefaultBand(name)
		if !ok {
			return t, diag.List{{Pos: e.Pos("schedule.bands"), Msg: fmt.Sprintf("the invented world has no %s", name), Mend: "rehearse with bands from 160m to 6m"}}
		}
		b.Arms = map[string]world.Pattern{}
		for _, a := range e.Arms {
			b.Arms[a.Name] = o.Truth.Pattern(name, a.Name)
		}
		t.Bands = append(t.Bands, b)
	}
	return t, nil
}

// distances is where the stations live: where the bands of the trial carry.
func distances(bands []world.Band) (nearestKm, farthestKm float64) {
	const (
		nearest = 50
		share   = 0.6 // of where the band begins to be at its best
	)
	nearestKm = math.Inf(1)
	for _, b := range bands {
		nearestKm, farthestKm = min(nearestKm, share*b.NearKm), max(farthestKm, b.FarKm)
	}
	return max(nearest, nearestKm), farthestKm
}

// powers gives the arms' declared powers against the first arm's, dB; nil if they are the same or not declared.
func powers(e *experiments.Experiment) map[string]float64 {
	out := map[string]float64{}
	differ := false
	first, ok := e.Number(e.Arms[0].Name, "power_w")
	for _, a := range e.Arms {
		w, declared := e.Number(a.Name, "power_w")
		ok = ok && declared
		differ = differ || w != first
		out[a.Name] = 10 * math.Log10(w/first)
	}
	if !ok || !differ {
		return nil
	}
	return out
}

// notes tells what the truth holds beside the patterns.
func (s *scene) notes() []string {
	var out []string
	if by := powers(s.exp); by != nil {
		first := s.exp.Arms[0].Name
		for _, a := range s.exp.Arms[1:] {
			out = append(out, fmt.Sprintf("%s sends with %s dB against %s, by the declared powers", a.Name, signed(math.Round(by[a.Name]*100)/100), first))
		}
	}
	return out
}

// files writes all files, by name.
func (s *scene) files(what outing) ([]File, error) {
	spots, err := s.spotFiles()
	if err != nil {
		return nil, err
	}
	sweeps, err := s.sweepFiles()
	if err != nil {
		return nil, err
	}
	all := append(spots, sweeps...)
	if s.exp.Switches != "" {
		text, err := switchLog(what.diary(s.trial.Dwells, s.powerOf))
		if err != nil {
			return nil, err
		}
		all = append(all, made{File{s.exp.Switches, text}, "log"})
	}
	if err := s.keptApart(all).Err(); err != nil {
		return nil, err
	}
	out := make([]File, len(all))
	for i, f := range all {
		out[i] = f.File
	}
	slices.SortFunc(out, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}

// powerOf gives the power that is measured with an arm: the declared one, W; 0 if none is.
func (s *scene) powerOf(arm string) float64 {
	w, _ := s.exp.Number(arm, "power_w")
	return w
}
