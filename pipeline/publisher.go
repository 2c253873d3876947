package pipeline

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/manifest"
	"fairlobe/pipeline/store"
)

const nextPrefix = ".next-"

// publisher is one publishing into one folder.
type publisher struct {
	Folder
	dir   string
	root  *os.Root
	files []File
	done  Published

	leftovers []string        // ".next-" folders of killed runs
	owned     []manifest.File // what earlier runs made, also killed ones
	next      string          // where the new files wait
}

func (p *publisher) publish() error {
	if err := p.lookAround(); err != nil {
		return err
	}
	changed, err := p.changed()
	if err != nil {
		return err
	}
	stale, err := p.stale()
	if err != nil {
		return err
	}
	if len(changed) > 0 {
		if err := p.stage(changed); err != nil {
			return errors.Join(err, p.root.RemoveAll(p.next))
		}
	}
	if err := p.place(changed, stale); err != nil {
		return err // the ".next-" folder stays: its manifest tells the next run what is ours
	}
	return p.sweep()
}

// lookAround finds what earlier runs made. A killed run left its manifest in its ".next-" folder,
// where it was written before the first file took its place.
func (p *publisher) lookAround() error {
	entries, err := fs.ReadDir(p.root.FS(), ".")
	if err != nil {
		return err
	}
	manifests := []string{p.Manifest}
	for _, e := range entries {
		if e.IsDir() && strings.HasPrefix(e.Name(), nextPrefix) {
			p.leftovers = append(p.leftovers, e.Name())
			manifests = append(manifests, path.Join(e.Name(), p.Manifest))
		}
	}
	for _, name := range manifests {
		data, err := p.root.ReadFile(name)
		if err != nil {
			continue // not there: nothing is known to be ours
		}
		if m, err := manifest.Decode(data); err == nil {
			p.owned = append(p.owned, m.Outputs...)
		}
	}
	return nil
}

// changed gives the files to be written, and refuses to write over what was not made here.
func (p *publisher) changed() ([]File, error) {
	var out []File
	for _, f := range p.files {
		have, err := p.existing(f.Name)
		if err != nil {
			return nil, err
		}
		if sameAs(have, f.Data) {
			p.done.Unchanged = append(p.done.Unchanged, f.Name)
			continue
		}
		if have != nil && f.Name != p.Manifest && !p.owns(f.Name) {
			return nil, refuse(path.Join(filepath.ToSlash(p.dir), f.Name), "this file was not made here and would be overwritten; nothing was written",
				"move it away, or choose another folder")
		}
		out = append(out, f)
	}
	return out, nil
}

func (p *publisher) owns(name string) bool {
	return slices.ContainsFunc(p.owned, func(f manifest.File) bool { return f.Name == name })
}

// stale gives the files that earlier runs made, that nobody has changed since, and that this run
// doesn't make.
func (p *publisher) stale() ([]string, error) {
	var out []string
	for _, old := range p.owned {
		made := slices.ContainsFunc(p.files, func(f File) bool { return f.Name == old.Name })
		if made || slices.Contains(out, old.Name) || checkName(old.Name) != nil {
			continue
		}
		info, err := p.root.Lstat(old.Name)
		if err != nil || !info.Mode().IsRegular() || info.Size() != old.Bytes {
			continue
		}
		data, err := p.root.ReadFile(old.Name)
		if err != nil {
			return nil, err
		}
		if store.Sum(data) == old.SHA256 {
			out = append(out, old.Name)
		}
	}
	return out, nil
}

// stage writes the new files into the ".next-" folder and pushes them to the disk.
func (p *publisher) stage(changed []File) error {
	var b [8]byte
	rand.Read(b[:]) // never fails since Go 1.24
	p.next = nextPrefix + hex.EncodeToString(b[:])
	if err := p.root.Mkdir(p.next, 0o755); err != nil {
		return err
	}
	for _, f := range changed {
		if err := p.writeNext(f); err != nil {
			return fmt.Errorf("writing %s: %w", f.Name, err)
		}
	}
	return atomicfile.SyncDir(p.dir)
}

func (p *publisher) writeNext(f File) error {
	name := path.Join(p.next, f.Name)
	if err := p.root.MkdirAll(path.Dir(name), 0o755); err != nil {
		return err
	}
	var opts []atomicfile.Option
	if p.Through != nil {
		opts = append(opts, atomicfile.Through(p.Through))
	}
	return atomicfile.WriteFile(filepath.Join(p.dir, filepath.FromSlash(name)), f.Data, 0o644, opts...)
}

// place renames the new files into place and removes the stale ones. The manifest comes last, when all
// it tells is true.
func (p *publisher) place(changed []File, stale []string) error {
	for _, f := range changed {
		if f.Name == p.Manifest {
			if err := p.removeStale(stale); err != nil {
				return err
			}
		}
		if err := p.root.MkdirAll(path.Dir(f.Name), 0o755); err != nil {
			return err
		}
		if err := p.root.Rename(path.Join(p.next, f.Name), f.Name); err != nil {
			return fmt.Errorf("giving %s its place: %w", f.Name, err)
		}
		if err := atomicfile.SyncDir(filepath.Join(p.dir, filepath.FromSlash(path.Dir(f.Name)))); err != nil {
			return err
		}
		p.done.Written = append(p.done.Written, f.Name)
	}
	return p.removeStale(stale)
}

// removeStale also removes folders that become empty. A file that is gone already is fine.
func (p *publisher) removeStale(stale []string) error {
	for _, name := range stale {
		if slices.Contains(p.done.Removed, name) {
			continue
		}
		if err := p.root.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("removing %s, which is not made any more: %w", name, err)
		}
		p.done.Removed = append(p.done.Removed, name)
		for d := path.Dir(name); d != "." && p.root.Remove(d) == nil; d = path.Dir(d) {
		}
	}
	return nil
}

// sweep removes the ".next-" folders, this run's and those of killed runs, and other leftovers.
func (p *publisher) sweep() error {
	if p.next != "" {
		p.leftovers = append(p.leftovers, p.next)
	}
	for _, name := range p.leftovers {
		if err := p.root.RemoveAll(name); err != nil {
			return err
		}
	}
	_, err := atomicfile.Sweep(p.dir)
	return err
}
