package pipeline

import (
	"bytes"
	"context"
	"fmt"

	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/pipeline/store"
	"fairlobe/pipeline/table"
)

// Verified is what [Verify] found.
type Verified struct {
	Checked int      // stages whose stored result was compared
	Missing []string // stages that the store has no result for, in the order of the graph
	// Differences are at most one for each output, in the order of the graph.
	Differences []Difference
}

// Difference is a stored output that comes out otherwise when its stage runs again.
type Difference struct {
	Stage, Output string
	Where         string // the first difference in words
}

// Verify runs every stage again, one after the other, on what the store holds for its needs, and
// compares what comes out with what is stored, byte by byte. It changes nothing in the store. Where
// the store has no result for a stage, the new one is used for the stages behind it.
func Verify(ctx context.Context, g *Graph, opt Options) (*Verified, error) {
	if opt.Store == nil {
		return nil, fmt.Errorf("verifying: there is no store")
	}
	known, err := hashSources(ctx, g)
	if err != nil {
		return nil, err
	}
	r := &runner{g: g, opt: opt, known: known, products: map[string]*product{}}
	found := &Verified{}
	for i := range g.stages {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := r.verify(ctx, i, found); err != nil {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			return nil, named(g.stages[i], err)
		}
	}
	return found, nil
}

func (r *runner) verify(ctx context.Context, i int, found *Verified) error {
	s, needs := r.g.stages[i], r.needs(i)
	pre, err := stagePreimage(s, r.opt.Salt, needs, r.known)
	if err != nil {
		return err
	}
	r.report(Event{Stage: s.Name, State: Running, Reason: "verify"})
	fresh, err := execute(ctx, s, needs, r.known, r.opt.mem())
	if err != nil {
		return err
	}
	stored, _ := fromStore(r.opt.Store, s, store.KeyOf(pre))
	if stored == nil {
		found.Missing = append(found.Missing, s.Name)
		stored = fresh
	} else {
		found.Checked++
	}
	for k, p := range stored.products {
		r.products[p.output.Name] = p
		where, err := compare(p, fresh.products[k], r.opt.mem())
		if err != nil {
			return err
		}
		if where != "" {
			found.Differences = append(found.Differences, Difference{Stage: s.Name, Output: p.output.Name, Where: where})
		}
	}
	r.report(Event{Stage: s.Name, State: Done})
	return nil
}

// compare gives the first difference between two forms of one output in words.
func compare(was, now *product, mem memory.Allocator) (string, error) {
	a, err := was.bytes()
	if err != nil {
		return "", err
	}
	b, err := now.bytes()
	if err != nil || bytes.Equal(a, b) {
		return "", err
	}
	if was.output.Schema != nil {
		where, err := compareTables(was, now, mem)
		if err != nil || where != "" {
			return where, err
		}
	}
	return fmt.Sprintf("byte %d of %d, now of %d", firstOther(a, b), len(a), len(b)), nil
}

func compareTables(was, now *product, mem memory.Allocator) (string, error) {
	a, err := was.table(mem)
	if err != nil {
		return "", err
	}
	defer a.Release()
	b, err := now.table(mem)
	if err != nil {
		return "", err
	}
	defer b.Release()
	return table.Diff(a, b), nil
}

func firstOther(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}
