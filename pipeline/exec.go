package pipeline

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
)

// stage takes one stage from the store or runs it.
func (r *runner) stage(ctx context.Context, i int, needs map[string]*product) *stageOutcome {
	s := r.g.stages[i]
	out := &stageOutcome{index: i, report: StageReport{Name: s.Name, Version: s.Version}}
	if err := r.fill(ctx, s, needs, out); err != nil {
		out.err = named(s, err)
		r.report(Event{Stage: s.Name, State: Failed})
	}
	return out
}

func (r *runner) fill(ctx context.Context, s Stage, needs map[string]*product, out *stageOutcome) error {
	pre, err := stagePreimage(s, r.opt.Salt, needs, r.known)
	if err != nil {
		return err
	}
	out.report.Key = store.KeyOf(pre)
	if out.made, out.report.Reason = r.lookUp(s, out.report.Key, pre); out.made != nil {
		out.report.Cached = true
		r.remember(s, out.report.Key)
		r.report(Event{Stage: s.Name, State: Cached})
		return nil
	}
	r.report(Event{Stage: s.Name, State: Running, Reason: out.report.Reason})
	if out.made, err = execute(ctx, s, needs, r.known, r.opt.mem()); err != nil {
		return err
	}
	if r.opt.Store != nil {
		if err := out.made.put(r.opt.Store, out.report.Key, pre); err != nil {
			return err
		}
	}
	r.remember(s, out.report.Key)
	r.report(Event{Stage: s.Name, State: Done})
	return nil
}

// lookUp gives what the store has, or why it has nothing.
func (r *runner) lookUp(s Stage, key, pre string) (*made, string) {
	st := r.opt.Store
	if st == nil {
		return nil, "there is no store"
	}
	m, reason := fromStore(st, s, key)
	switch {
	case m != nil:
		return m, ""
	case reason != "":
		return nil, "the stored result is damaged: " + reason
	}
	last, ok := st.Latest(s.Name)
	if !ok {
		return nil, "it has not run before"
	}
	old, ok := st.Preimage(last)
	if !ok {
		return nil, "its last key is not known any more"
	}
	if why := explain(old, pre); why != "" {
		return nil, why
	}
	return nil, "its result is gone from the store"
}

// remember keeps the key for the next run's reason. That is a hint for people: a disk too full for it
// does not stop a run that has all it needs.
func (r *runner) remember(s Stage, key string) {
	if r.opt.Store != nil {
		_ = r.opt.Store.SetLatest(s.Name, key)
	}
}

func stagePreimage(s Stage, salt string, needs map[string]*product, known map[string]manifest.File) (string, error) {
	return preimage(s, salt,
		func(need string) string { return needs[need].digest },
		func(source string) string { return "sha256:" + known[source].SHA256 })
}

// named puts the stage's name before an error, but leaves findings as they are: they have a place.
func named(s Stage, err error) error {
	var findings diag.List
	if errors.As(err, &findings) {
		return err
	}
	return fmt.Errorf("stage %s: %w", s.Name, err)
}

// execute runs the stage and checks what it made.
func execute(ctx context.Context, s Stage, needs map[string]*product, known map[string]manifest.File, mem memory.Allocator) (*made, error) {
	in, err := stageInput(ctx, s, needs, mem)
	if err != nil {
		return nil, err
	}
	defer in.Release()
	res, err := call(ctx, s, in)
	if res != nil {
		defer releaseAll(res.Tables)
	}
	if ctx.Err() != nil {
		in.opened.finish(known)
		return nil, ctx.Err()
	}
	changed, unread := in.opened.finish(known)
	// A file that changed explains whatever else went wrong, so it comes first.
	if err := firstError(changed, err, unread); err != nil {
		return nil, err
	}
	return collect(s, res)
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// stageInput decodes what the stage needs. Each stage gets tables of its own, so none can disturb
// another.
func stageInput(ctx context.Context, s Stage, needs map[string]*product, mem memory.Allocator) (*Input, error) {
	in := NewInput(ctx, mem, map[string]arrow.Record{}, map[string][]byte{}, s.Sources...)
	for _, name := range s.Needs {
		var err error
		if p := needs[name]; p.output.Schema != nil {
			in.tables[name], err = p.table(mem)
		} else {
			in.files[name], err = p.bytes()
		}
		if err != nil {
			delete(in.tables, name)
			in.Release()
			return nil, err
		}
	}
	return in, nil
}

func call(ctx context.Context, s Stage, in *Input) (res *Result, err error) {
	defer func() {
		if p := recover(); p != nil {
			res, err = nil, fmt.Errorf("it panicked, which is a mistake in the program: %v\n%s", p, debug.Stack())
		}
	}()
	return s.Run(ctx, in)
}

func releaseAll(tables map[string]arrow.Record) {
	for _, rec := range tables {
		if rec != nil {
			rec.Release()
		}
	}
}
