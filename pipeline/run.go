package pipeline

import (
	"context"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
)

// Options say how a graph is run. None of them changes a byte of an output, except that Salt and what
// is in the store decide which stages run.
type Options struct {
	// Store keeps results between runs; nil: everything runs and stays in memory.
	Store *store.Store
	// Jobs is how many stages run at a time; 0 means as many as there are processors.
	Jobs int
	// Salt is part of every key: the build of the tool, so that another build never takes its results.
	Salt string
	// Progress gets each event, one at a time; nil: nobody asks.
	Progress func(Event)
	// Mem is where tables are allocated; nil: Go's garbage-collected memory.
	Mem memory.Allocator
}

func (o Options) mem() memory.Allocator {
	if o.Mem == nil {
		return memory.NewGoAllocator()
	}
	return o.Mem
}

func (o Options) jobs() int {
	if o.Jobs < 1 {
		return runtime.GOMAXPROCS(0)
	}
	return o.Jobs
}

// Outcome is what a run made.
type Outcome struct {
	// Stages are in the order of the graph.
	Stages []StageReport
	// Notes are the warnings of all stages, stage by stage in the order of the graph.
	Notes diag.List
	// Inputs are the sources, sorted by name.
	Inputs []manifest.File

	products map[string]*product
	mem      memory.Allocator
}

// StageReport tells of one stage. Cached and Reason depend on what was in the store: they are for
// people, not for outputs.
type StageReport struct {
	Name    string
	Version int
	Key     string
	Cached  bool
	Reason  string // why it was not taken from the store
}

// Table decodes the table that a stage made. The caller releases it.
func (o *Outcome) Table(name string) (arrow.Record, error) {
	p, err := o.product(name)
	if err != nil {
		return nil, err
	}
	return p.table(o.mem)
}

// Bytes gives the bytes of an output: of a table its Parquet file. They are not to be changed.
func (o *Outcome) Bytes(name string) ([]byte, error) {
	p, err := o.product(name)
	if err != nil {
		return nil, err
	}
	return p.bytes()
}

// Digest gives the content digest of an output, "sha256:" and 64 digits: of a table that of its logical
// content, of a file that of its bytes. It is empty if there is no such output.
func (o *Outcome) Digest(name string) string {
	p, err := o.product(name)
	if err != nil {
		return ""
	}
	return p.digest
}

// Executed counts the stages that were run and not taken from the store.
func (o *Outcome) Executed() int {
	n := 0
	for _, s := range o.Stages {
		if !s.Cached {
			n++
		}
	}
	return n
}

func (o *Outcome) product(name string) (*product, error) {
	p, ok := o.products[name]
	if !ok {
		return nil, fmt.Errorf("no stage makes an output named %q", name)
	}
	return p, nil
}

// Run brings every output of the graph into being: from the store where its stage's key stands there,
// else by running the stage.
//
// If stages fail, the error is that of the first of them in the order of the graph, whatever the
// number of jobs; findings (diag.List) are returned as they are, other errors with the stage's name.
// Stages behind a failed one don't run; what was stored before stays. When ctx is cancelled no
// further stage starts, running ones are asked to stop through their context, and the error is
// ctx.Err(). A panic in a stage is an error that holds the stack.
func Run(ctx context.Context, g *Graph, opt Options) (*Outcome, error) {
	known, err := hashSources(ctx, g)
	if err != nil {
		return nil, err
	}
	r := &runner{g: g, opt: opt, known: known, products: map[string]*product{}, outcomes: make([]*stageOutcome, len(g.stages))}
	r.loop(ctx)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return r.outcome()
}

// runner is the state of one run. Only the goroutine of loop touches products and outcomes.
type runner struct {
	g        *Graph
	opt      Options
	known    map[string]manifest.File
	products map[string]*product
	outcomes []*stageOutcome // nil: not finished
	started  []bool

	progress sync.Mutex
	finished int
}

type stageOutcome struct {
	index  int
	report StageReport
	made   *made
	err    error
}

// loop starts stages as soon as they can run, the first in the graph first, until none is left or can
// start. After a failure the stages before the failed one still run: one of them might fail too,
// and then its error is the one to tell.
func (r *runner) loop(ctx context.Context) {
	for _, s := range r.g.stages {
		r.report(Event{Stage: s.Name, State: Waiting})
	}
	r.started = make([]bool, len(r.g.stages))
	results := make(chan *stageOutcome)
	running, limit := 0, len(r.g.stages)
	for {
		for running < r.opt.jobs() && ctx.Err() == nil {
			i := r.next(limit)
			if i < 0 {
				break
			}
			r.started[i] = true
			running++
			needs := r.needs(i)
			go func() { results <- r.stage(ctx, i, needs) }()
		}
		if running == 0 {
			return
		}
		o := <-results
		running--
		if r.take(o); o.err != nil {
			limit = min(limit, o.index)
		}
	}
}

// next gives the first stage before limit that has not started and whose needs are there, or -1.
func (r *runner) next(limit int) int {
	for i, s := range r.g.stages[:limit] {
		missing := func(need string) bool { return r.products[need] == nil }
		if !r.started[i] && !slices.ContainsFunc(s.Needs, missing) {
			return i
		}
	}
	return -1
}

func (r *runner) needs(i int) map[string]*product {
	out := map[string]*product{}
	for _, need := range r.g.stages[i].Needs {
		out[need] = r.products[need]
	}
	return out
}

func (r *runner) take(o *stageOutcome) {
	r.outcomes[o.index] = o
	if o.err != nil {
		return
	}
	for _, p := range o.made.products {
		r.products[p.output.Name] = p
	}
}

func (r *runner) report(e Event) {
	if r.opt.Progress == nil {
		return
	}
	r.progress.Lock()
	defer r.progress.Unlock()
	if e.State == Cached || e.State == Done {
		r.finished++
	}
	e.Done, e.Total = r.finished, len(r.g.stages)
	r.opt.Progress(e)
}

func (r *runner) outcome() (*Outcome, error) {
	out := &Outcome{products: r.products, mem: r.opt.mem(), Inputs: slices.Collect(maps.Values(r.known))}
	slices.SortFunc(out.Inputs, func(a, b manifest.File) int { return strings.Compare(a.Name, b.Name) })
	for _, o := range r.outcomes {
		if o == nil {
			continue // it did not start, so a stage failed, and that stage's error is told
		}
		if o.err != nil {
			return nil, o.err
		}
		out.Stages = append(out.Stages, o.report)
		out.Notes = append(out.Notes, o.made.notes...)
	}
	return out, nil
}
