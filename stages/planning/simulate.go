package planning

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"fairlobe/datasets/rehearsal"
	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/judge"
	"fairlobe/stages/trials"
)

// Simulation says how much is simulated.
type Simulation struct {
	Trials int
	Seed   uint64
	// Scenario is that of the invented world; "" for the usual one.
	Scenario string
	// Search looks for the blocks that keep the promise, too, and asks every question that can be simulated; without it only those
	// are asked, as the schedule is, for which the formulas promise nothing, and no more than two of them.
	Search bool
	// Progress gets how many sets of trials are done; nil: nobody asks.
	Progress func(done int)
}

// Simulated is what the trials of one question found, on one band.
type Simulated struct {
	Band     string
	Trials   int
	Seed     uint64
	Scenario string
	Stations int
	// Found is how many found the smallest difference, or held what holds.
	Found int
	// Low and High bound the share, 95 % (Wilson).
	Low, High float64
	// Same is how many of as many trials without any lobe showed a directivity "practically the same"; -1 if not asked.
	Same int
	// At80 and At90 are the blocks that kept the promise by more than a standard error; 0 where none was found.
	At80, At90 int
	// Searched: the blocks were looked for.
	Searched bool
	// Refused says why nothing could be simulated; "" if something was.
	Refused string
}

const (
	fewSimulated = 2   // questions, without a search
	searchSteps  = 6   // numbers of blocks that are tried for one promise
	mostSearched = 200 // blocks
)

// Simulate carries questions out in the invented world, through the real stages. Same input, same numbers.
func (p *Plan) Simulate(ctx context.Context, how Simulation) error {
	done := 0
	for i := range p.Questions {
		q := &p.Questions[i]
		if !q.canSimulate() || !how.Search && (!q.bySimulation() || done == fewSimulated) {
			continue
		}
		if err := p.simulate(ctx, q, how); err != nil {
			return err
		}
		if done++; how.Progress != nil {
			how.Progress(done)
		}
	}
	return nil
}

// canSimulate: the truth of a share of listeners in points is not known to the world.
func (q *Question) canSimulate() bool {
	return q.Note == "" && slices.Contains([]string{"level", "directivity", "null", "known_step"}, q.Claim.Kind)
}

func (p *Plan) simulate(ctx context.Context, q *Question, how Simulation) error {
	s := &Simulated{Band: q.Bands[0], Trials: how.Trials, Seed: how.Seed, Scenario: how.Scenario, Stations: p.in.Stations, Same: -1}
	q.Simulated = s
	found, err := p.found(ctx, q, how, q.Blocks)
	var refused diag.List
	if errors.As(err, &refused) {
		s.Refused = refused[0].Msg
		return nil
	}
	if err != nil {
		return err
	}
	s.Found = found
	s.Low, s.High = wilson(found, how.Trials)
	if !how.Search {
		return nil
	}
	if q.Claim.Kind == "directivity" {
		r, err := p.carryOut(ctx, q, how, q.Blocks, nil)
		if err != nil {
			return err
		}
		s.Same = verdicts(r, judge.Same)
	}
	need := q.Different
	if need == nil {
		need = q.Same
	}
	s.Searched = true
	if s.At80, err = p.search(ctx, q, how, need.At80, usualPower); err != nil {
		return err
	}
	if s.At80 == 0 {
		return nil
	}
	s.At90, err = p.search(ctx, q, how, max(need.At90, s.At80), highPower)
	return err
}

// search raises the blocks until the share of trials that find it lies above the promise by a standard error; 0 if none does.
func (p *Plan) search(ctx context.Context, q *Question, how Simulation, from int, power float64) (int, error) {
	n := from
	for range searchSteps {
		if n > mostSearched {
			return 0, nil
		}
		found, err := p.found(ctx, q, how, n)
		if err != nil {
			return 0, err
		}
		share := float64(found) / float64(how.Trials)
		if share-math.Sqrt(float64(share*(1-share))/float64(how.Trials)) >= power {
			return n, nil
		}
		n += max(1, int(math.Ceil(float64(n)*searchStep)))
	}
	return 0, nil
}

// searchStep is by how much of itself a number of blocks is raised.
const searchStep = 0.15

// found counts the trials of so many blocks that find what is true.
func (p *Plan) found(ctx context.Context, q *Question, how Simulation, blocks int) (int, error) {
	r, err := p.carryOut(ctx, q, how, blocks, p.truthOf(q))
	switch {
	case err != nil:
		return 0, err
	case q.Different == nil || q.Claim.Kind == "known_step":
		return verdicts(r, judge.Holds), nil
	}
	return r.Power.P[len(r.Power.P)-1].Count, nil
}

// carryOut simulates a claim on its first band. It is asked alone, at the level that it has in its family: the first step
// of the correction.
func (p *Plan) carryOut(ctx context.Context, q *Question, how Simulation, blocks int, statements []string) (trials.Result, error) {
	exp := *p.in.Experiment
	c := q.Claim
	c.Bands = []string{q.Bands[0]}
	exp.Claims = []experiments.Claim{c}
	truth, err := rehearsal.ParseTruth(&exp, p.bandNames(), statements)
	if err != nil {
		return trials.Result{}, fmt.Errorf("simulating %q: %w", c.Name, err)
	}
	report, err := trials.Run(ctx, trials.Settings{Experiment: &exp, Truth: truth, Scenario: how.Scenario, Stations: p.in.Stations, Seed: how.Seed,
		Trials: how.Trials, Blocks: blocks, AlsoLevel: q.Alpha})
	if err != nil {
		return trials.Result{}, fmt.Errorf("simulating %q: %w", c.Name, err)
	}
	return report.Results[0], nil
}

// verdicts counts those of a name, whatever their reach.
func verdicts(r trials.Result, name string) int {
	n := 0
	for _, v := range r.Verdicts {
		if v.Name == name || strings.HasPrefix(v.Name, name+", ") {
			n += v.Count
		}
	}
	return n
}

// truthOf states the smallest difference that matters as true of the claim's first arm.
func (p *Plan) truthOf(q *Question) []string {
	arm := q.Claim.Arms[0]
	switch q.Claim.Kind {
	case "level":
		return []string{fmt.Sprintf("%s +%g dB", arm, q.Smallest)}
	case "known_step": // what the declared powers do is there already
		rest := *q.Claim.StepDB - p.powerStepDB(q.Claim)
		if math.Abs(rest) < 0.05 {
			return nil
		}
		return []string{fmt.Sprintf("%s %+.4f dB", arm, rest)}
	case "directivity":
		toward := 0.0
		if q.Claim.TowardDeg != nil {
			toward = *q.Claim.TowardDeg
		}
		if q.Claim.Shape == "two-sided" {
			return []string{fmt.Sprintf("%s two lobes %g dB along %g", arm, q.Smallest, toward)}
		}
		return []string{fmt.Sprintf("%s lobe %g dB toward %g", arm, q.Smallest, toward)}
	}
	return nil
}

// powerStepDB is the difference of the declared powers of a comparison.
func (p *Plan) powerStepDB(c experiments.Claim) float64 {
	first, ok1 := p.in.Experiment.Number(c.Arms[0], "power_w")
	second, ok2 := p.in.Experiment.Number(c.Arms[1], "power_w")
	if !ok1 || !ok2 || c.Direction == "received" {
		return 0
	}
	return 10 * math.Log10(first/second)
}

// wilson gives the 95 % interval of a share (Wilson, Journal of the American Statistical Association 22, 1927).
func wilson(count, of int) (low, high float64) {
	n, share := float64(of), float64(count)/float64(of)
	z2 := sureAt * sureAt
	middle := share + z2/(2*n)
	half := float64(sureAt * math.Sqrt(float64(share*(1-share)/n)+z2/(4*n*n)))
	return max(0, (middle-half)/(1+z2/n)), min(1, (middle+half)/(1+z2/n))
}
