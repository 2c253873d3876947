package trials

import (
	"hash/fnv"
	"math/rand/v2"
	"runtime"
	"slices"
	"strconv"

	"fairlobe/datasets/coast"
	"fairlobe/datasets/rehearsal"
	"fairlobe/datasets/world"
	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
)

// Settings say what is simulated.
type Settings struct {
	Experiment *experiments.Experiment
	Truth      *rehearsal.Truth // of the experiment's bands and arms
	Scenario   string           // a name of world.Scenarios; "" for "usual"
	Stations   int              // how many there are; 0 for the scenario's number
	Seed       uint64
	Trials     int
	Blocks     int      // per band, over all sessions; 0 for the experiment's number
	Kinds      []string // only claims of these kinds are asked; none: all that can be
	// LookEachBlock: the trial is an open one, judged after every block, and over at the first "different" of each claim.
	LookEachBlock bool
	// AlsoLevel is one more level at which tests are counted, behind 0.05 and 0.01; 0: none.
	AlsoLevel float64
	Jobs      int // trials at a time, 0 for as many as there are processors; changes no number
	// Progress gets how many trials are done, from several goroutines; nil: nobody asks.
	Progress func(done int)
}

// scene is what all trials have in common. It is only read while they run.
type scene struct {
	Settings
	exp        experiments.Experiment // with the claims that are asked, and without files
	params     world.Params
	trial      world.Trial // without seed and dwells
	background bool        // some claim needs to know who was listening
	received   bool        // some claim needs what the own station heard
}

func (s Settings) jobs() int {
	if s.Jobs < 1 {
		return runtime.GOMAXPROCS(0)
	}
	return s.Jobs
}

// prepare makes the scene, or says why the experiment can't be simulated, as a diag.List where its file is at fault.
func (s Settings) prepare() (*scene, error) {
	sc := &scene{Settings: s, exp: *s.Experiment}
	if s.exp().Schedule.File != "" {
		return nil, diag.List{{Pos: s.exp().Pos("schedule.file"), Msg: "the order of a schedule from a file can't be drawn anew for each trial",
			Mend: "describe the schedule in the experiment itself"}}
	}
	sc.exp.Spots, sc.exp.Sweeps, sc.exp.Switches = nil, nil, ""
	sc.exp.HasSeed = true
	sc.exp.Claims = s.asked()
	if len(sc.exp.Claims) == 0 {
		return nil, diag.List{{Pos: s.exp().Pos("claim"), Msg: "none of the claims can be simulated", Mend: "ask for a level, for example; claims about the match need real sweeps"}}
	}
	for _, c := range sc.exp.Claims {
		sc.background = sc.background || c.Kind == "heard_by"
		sc.received = sc.received || c.Kind == "reciprocity" || c.Direction == "received"
	}
	if s.Blocks > 0 {
		sc.exp.Schedule.Blocks, sc.exp.Schedule.Sessions = s.Blocks, shared(sc.exp.Schedule.Sessions, s.Blocks)
	}
	if s.LookEachBlock {
		sc.exp.Schedule.Stopping = "open"
	}
	return sc, sc.invent()
}

func (s Settings) exp() *experiments.Experiment { return s.Experiment }

// asked gives the claims that are asked.
func (s Settings) asked() []experiments.Claim {
	var out []experiments.Claim
	for _, c := range s.exp().Claims {
		if c.Kind != "match" && (len(s.Kinds) == 0 || slices.Contains(s.Kinds, c.Kind)) {
			out = append(out, c)
		}
	}
	return out
}

// shared spreads a number of blocks over the sessions, the first ones getting what is left over; sessions without a
// block fall away.
func shared(sessions []experiments.Session, blocks int) []experiments.Session {
	var out []experiments.Session
	for i, s := range sessions {
		s.Blocks = blocks / len(sessions)
		if i < blocks%len(sessions) {
			s.Blocks++
		}
		if s.Blocks > 0 {
			out = append(out, s)
		}
	}
	return out
}

// invent settles the world of the trials: the one that package rehearsal makes of the same experiment.
func (sc *scene) invent() error {
	var err error
	sc.params, sc.trial, err = rehearsal.World(&sc.exp, rehearsal.Options{Truth: sc.Truth, Scenario: sc.Scenario, Stations: sc.Stations})
	if err != nil {
		return err
	}
	sc.params.Land = coast.Load().OnLand
	if !sc.background {
		sc.params.BackgroundShare = 0 // nothing else depends on it
	}
	return nil
}

// seedOf derives the seed of one part of one trial.
func (s Settings) seedOf(part string, number int) uint64 {
	h := fnv.New64a()
	h.Write([]byte("trials/" + part + "/" + strconv.Itoa(number)))
	return rand.NewPCG(s.Seed, h.Sum64()).Uint64()
}
