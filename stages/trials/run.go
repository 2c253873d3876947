package trials

import (
	"context"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Run simulates the trials and counts. Same settings, same report, whatever the number of jobs. When ctx is cancelled the
// error is ctx.Err().
func Run(ctx context.Context, s Settings) (*Report, error) {
	sc, err := s.prepare()
	if err != nil {
		return nil, err
	}
	all, err := sc.simulate(ctx)
	if err != nil {
		return nil, err
	}
	return sc.count(all), nil
}

// garbagePercent is how much garbage may stand beside what is in use before it is collected; Go's own figure is 100.
const garbagePercent = 400

// simulate gives what each trial found, by its number.
func (sc *scene) simulate(ctx context.Context) ([][]sample, error) {
	// A trial leaves much garbage and keeps next to nothing: with a larger heap a quarter of the time is saved.
	defer debug.SetGCPercent(debug.SetGCPercent(garbagePercent))
	all, errs := make([][]sample, sc.Trials), make([]error, sc.Trials)
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var next, done atomic.Int64
	var workers sync.WaitGroup
	for range min(sc.jobs(), sc.Trials) {
		workers.Go(func() {
			for ctx.Err() == nil {
				n := int(next.Add(1)) - 1
				if n >= sc.Trials {
					return
				}
				if all[n], errs[n] = sc.one(ctx, n); errs[n] != nil {
					stop()
					return
				}
				if finished := done.Add(1); sc.Progress != nil {
					sc.Progress(int(finished))
				}
			}
		})
	}
	workers.Wait()
	return all, firstError(errs, context.Cause(ctx))
}

// firstError gives the error of the lowest trial that has one of its own; that it was stopped is none of its own.
func firstError(errs []error, stopped error) error {
	for n, err := range errs {
		if err != nil && !isStop(err) {
			return fmt.Errorf("trial %d: %w", n+1, err)
		}
	}
	return stopped
}

// one simulates one trial.
func (sc *scene) one(ctx context.Context, number int) ([]sample, error) {
	c, err := sc.carry(ctx, number)
	if err != nil {
		return nil, err
	}
	if sc.LookEachBlock {
		return sc.lookOften(ctx, c)
	}
	entries, err := sc.judged(ctx, c, c.end())
	if err != nil {
		return nil, err
	}
	out := make([]sample, len(entries))
	for i, e := range entries {
		out[i] = sc.hold(c, e)
	}
	return out, nil
}

// end is when the last dwell is over.
func (c *carried) end() time.Time {
	var last time.Time
	for _, d := range c.planned {
		if d.End.After(last) {
			last = d.End
		}
	}
	return last
}

// lookOften judges after every block, and gives the path of each claim: it is over when its verdict is "different".
func (sc *scene) lookOften(ctx context.Context, c *carried) ([]sample, error) {
	var path []sample
	for _, at := range c.looks() {
		entries, err := sc.judged(ctx, c, at)
		if err != nil {
			return nil, err
		}
		if path == nil {
			path = make([]sample, len(entries))
		}
		for i, e := range entries {
			path[i].goOn(sc.hold(c, e))
		}
		if !slices.ContainsFunc(path, func(s sample) bool { return !s.over }) {
			break
		}
	}
	return path, nil
}

// looks are the moments at which a block is over on all its bands.
func (c *carried) looks() []time.Time {
	type block struct{ session, number int }
	ends := map[block]time.Time{}
	for _, d := range c.planned {
		at := block{d.Session, d.Block}
		if d.End.After(ends[at]) {
			ends[at] = d.End
		}
	}
	out := make([]time.Time, 0, len(ends))
	for _, end := range ends {
		out = append(out, end)
	}
	slices.SortFunc(out, time.Time.Compare)
	return out
}
