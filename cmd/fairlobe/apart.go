package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
)

// keepApart refuses an output folder that holds the experiment or its data: outputs and what they are made from must
// not stand in one place, or a run could read what it wrote.
func (o *opened) keepApart(dir string) error {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil // a new folder, or none at all, which Claim will tell
	}
	outer, err := resolved(dir)
	if err != nil {
		return fmt.Errorf("looking for the output folder: %w", err)
	}
	for _, one := range []struct{ path, what string }{{o.exp.File, "the experiment file"}, {o.exp.DataDir, "the data folder"}} {
		inner, err := resolved(one.path)
		if err != nil {
			return fmt.Errorf("looking for %s: %w", one.what, err)
		}
		if within(outer, inner) {
			return diag.List{{Pos: diag.Pos{File: dir}, Msg: one.what + " lies in the output folder; nothing was written",
				Mend: "name another folder with --out", Related: []diag.Pos{{File: one.path}}}}
		}
	}
	return nil
}

// resolved is the absolute path with all links followed.
func resolved(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	return filepath.EvalSymlinks(abs)
}

// noOwnOutput refuses patterns that name what a run has written.
func (o *opened) noOwnOutput(all []pipeline.Stage, dir string) error {
	outer, err := resolved(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil // nothing was written yet
	}
	if err != nil {
		return fmt.Errorf("looking for the output folder: %w", err)
	}
	var faults diag.List
	for _, s := range all {
		for _, src := range s.Sources {
			inner, err := resolved(src.Path)
			if errors.Is(err, fs.ErrNotExist) {
				continue // the run will tell
			}
			if err != nil {
				return fmt.Errorf("looking for %s: %w", src.Path, err)
			}
			if within(outer, inner) {
				faults = append(faults, diag.Diag{Pos: diag.Pos{File: src.Path}, Msg: "this is an output of fairlobe, and a pattern in the experiment file names it as data",
					Mend: "narrow the pattern, or write the outputs elsewhere with --out", Related: []diag.Pos{{File: o.exp.File}}})
			}
		}
	}
	return faults.Err()
}

// within tells whether inner is outer or lies in it; both are resolved.
func within(outer, inner string) bool {
	rel, err := filepath.Rel(outer, inner)
	return err == nil && filepath.IsLocal(rel)
}
