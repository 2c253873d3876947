package main

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"fairlobe/experiments"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/stages"
	"fairlobe/stages/judge"
	"fairlobe/stages/schedule"
)

// opened is an experiment with its planned dwells and its seal.
type opened struct {
	exp      *experiments.Experiment
	planned  []schedule.Dwell
	seal     *seal.Seal // nil without one
	standing stages.Standing
	changed  []string // what differs from the sealed experiment
	warnings diag.List
}

func sealPath(exp *experiments.Experiment) string {
	return filepath.Join(exp.Dir, exp.Name+".seal.json")
}

func looksPath(exp *experiments.Experiment) string {
	return filepath.Join(exp.Dir, exp.Name+".looks.csv")
}

// open reads an experiment file and all that stands beside it. Without a seed nothing is drawn yet.
func open(path string) (*opened, error) {
	exp, list := experiments.Load(path)
	if err := list.Err(); err != nil {
		return nil, err
	}
	o := &opened{exp: exp, warnings: list.Warnings(), standing: stages.Standing{State: judge.SealNone}}
	if !exp.HasSeed && exp.Schedule.File == "" {
		return o, o.seedGone()
	}
	var err error
	if o.planned, err = stages.Schedule(exp); err != nil {
		return nil, fmt.Errorf("making the schedule of %s: %w", path, err)
	}
	return o, o.readSeal()
}

// seedGone is the fault of an experiment that has lost the seed it was sealed with: another one would draw another
// order.
func (o *opened) seedGone() error {
	s, err := seal.Read(sealPath(o.exp))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	}
	return diag.List{{Pos: o.exp.Pos("seed"), Msg: "the experiment is sealed with a seed, and the file has none any more",
		Mend: fmt.Sprintf("put back seed = %d", s.Seed), Related: []diag.Pos{{File: sealPath(o.exp)}}}}
}

// needSeed is the fault of an experiment that can't be run yet, since its order has not been drawn.
func (o *opened) needSeed() error {
	if o.planned != nil {
		return nil
	}
	return diag.List{{Pos: o.exp.Pos("seed"), Msg: "the experiment has no seed, so the order of its arms is not drawn yet",
		Mend: "fairlobe design --seal " + shellWord(o.exp.File)}}
}

func (o *opened) readSeal() error {
	s, err := seal.Read(sealPath(o.exp))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	canonical, err := o.exp.Canonical()
	if err != nil {
		return fmt.Errorf("writing the experiment in its canonical form: %w", err)
	}
	same, orderSame, changed := seal.Compare(s, canonical, o.planned)
	o.seal, o.changed = &s, changed
	added, err := seal.Added(s, canonical)
	if err != nil {
		return fmt.Errorf("%s: %w", sealPath(o.exp), err)
	}
	o.standing = stages.Standing{State: judge.SealSame, SealedAt: s.SealedAt, Digest: s.Digest, Added: added}
	switch {
	case !orderSame:
		o.standing.State = judge.SealOrder
	case !same:
		o.standing.State = judge.SealChanged
	}
	return nil
}

// sealNotes warns of what has changed since the seal was made.
func (o *opened) sealNotes() diag.List {
	if o.seal == nil || o.standing.State == judge.SealSame {
		return nil
	}
	return diag.List{{Pos: o.exp.Pos("fairlobe"), Severity: diag.Warning, Code: "changed_since_seal", Related: []diag.Pos{{File: sealPath(o.exp)}},
		Msg:  "the experiment has changed since it was sealed: " + strings.Join(o.changed, "; "),
		Mend: "take it back to what was sealed; a verdict of a changed experiment proves less"}}
}

// located puts the path before the names of data files, which findings give as they stand below the data folder:
// so they can be opened from where the user is.
func located(list diag.List, all []pipeline.Stage) diag.List {
	paths := map[string]string{}
	for _, s := range all {
		for _, src := range s.Sources {
			paths[src.Name] = src.Path
		}
	}
	out := slices.Clone(list)
	for i := range out {
		out[i].Pos = moved(out[i].Pos, paths)
		out[i].Related = slices.Clone(out[i].Related)
		for k := range out[i].Related {
			out[i].Related[k] = moved(out[i].Related[k], paths)
		}
	}
	return out
}

func moved(p diag.Pos, paths map[string]string) diag.Pos {
	if path, ok := paths[p.File]; ok {
		p.File = path
	}
	return p
}
