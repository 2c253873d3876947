package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fairlobe/datasets"
	"fairlobe/experiments"
	"fairlobe/experiments/outline"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
)

type newOptions struct {
	demo  string
	about string
	outline.Answers
}

// What stands in a new experiment file until the operator fills it in.
const (
	placeholderCall    = "Q0CALL"
	placeholderLocator = "JJ00aa"
)

func newCommand(std streams) *cobra.Command {
	var opt newOptions
	cmd := &cobra.Command{
		Use:   "new NAME",
		Short: "A commented experiment file to fill in; --demo: the built-in demos",
		Long:  newLong,
		Args: func(_ *cobra.Command, args []string) error {
			if opt.demo != "" && len(args) > 0 || opt.demo == "" && len(args) != 1 {
				return usage("new wants one NAME, or --demo DIR")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if opt.demo != "" {
				return writeDemo(opt.demo, std)
			}
			return newExperiment(args[0], opt, cmd.Flags().NFlag() == 0, std)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opt.demo, "demo", "", "write the built-in demos into this `folder`")
	f.StringVar(&opt.about, "about", "height", "the `question`, by its name")
	f.StringVar(&opt.Call, "call", placeholderCall, "your call `sign`")
	f.StringVar(&opt.Locator, "locator", placeholderLocator, "your `locator`, six characters")
	f.StringSliceVar(&opt.Bands, "bands", []string{"20m"}, "the `bands`, with commas")
	f.Float64Var(&opt.PowerW, "power-w", 5, "power at the radio's output, `W`")
	f.Float64Var(&opt.SmallestDB, "smallest-db", 1.5, "the smallest difference that matters, `dB`")
	f.Float64Var(&opt.SpotIntervalMin, "spot-interval-min", 5, "how often a receiver's reports are passed on, `minutes`; 0 = every decode")
	f.Float64Var(&opt.ChangeMin, "change-min", 3, "what a change of the arm takes, `minutes`")
	f.BoolVar(&opt.BySwitch, "switch", false, "the arms are changed by a switch")
	return cmd
}

var plainName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]*$`)

// newExperiment asks what it needs to know if nothing was said and there is somebody to ask.
func newExperiment(name string, opt newOptions, nothingSaid bool, std streams) error {
	dir, base := filepath.Split(strings.TrimSuffix(name, ".toml"))
	if !plainName.MatchString(base) {
		return usage("%q is no name for an experiment: use letters, digits, '.', '_' and '-'", base)
	}
	path, log := filepath.Join(dir, base+".toml"), filepath.Join(dir, base, "log", "switches.csv")
	if err := mustBeNew(path, log); err != nil {
		return err
	}
	seed, err := systemSeed()
	if err != nil {
		return err
	}
	opt.Folder, opt.Mode, opt.Seed = base, "FT8", seed
	opt.Start = time.Now().UTC().Add(24 * time.Hour).Truncate(time.Hour) // a proposal
	if in, out, ok := terminal(std); ok && nothingSaid {
		if err := askNew(in, out, path, &opt); err != nil {
			return err
		}
	}
	text, err := opt.text(path)
	if err != nil {
		return err
	}
	return writeNew(path, log, text, std)
}

// text is the experiment file, which passes the check; else it is the command line that is wrong.
func (opt newOptions) text(path string) ([]byte, error) {
	about := slices.IndexFunc(outline.All(), func(o outline.Outline) bool { return o.Name == opt.about })
	if about < 0 {
		return nil, usage("there is no starting point %q: see fairlobe help new", opt.about)
	}
	text, err := outline.All()[about].Text(opt.Answers)
	if err != nil {
		return nil, err
	}
	if _, list := experiments.Parse(path, text, nil); list.Err() != nil {
		return nil, usage("%s", list.Faults().Sort()[0].Msg)
	}
	return text, nil
}

// emptyLog is a switch log without an entry.
const emptyLog = "time,entered,event,session,band,block,arm,value,note\n"

// writeNew writes the experiment file, and the folders of its data with an empty log.
func writeNew(path, log string, text []byte, std streams) error {
	if err := createNew(path, text); err != nil {
		return err
	}
	data := strings.TrimSuffix(path, ".toml")
	for _, sub := range []string{"spots", "sweeps", "log"} {
		if err := os.MkdirAll(filepath.Join(data, sub), 0o755); err != nil {
			return fmt.Errorf("making the data folders: %w", err)
		}
	}
	if err := createNew(log, []byte(emptyLog)); err != nil {
		return err
	}
	fmt.Fprintf(std.out, "Wrote %s and the folder %s for its data.\nNext: fill in what is marked with <--, then\n\n    fairlobe check %s\n", path, data, shellWord(path))
	return nil
}

// mustBeNew refuses if one of the files exists.
func mustBeNew(paths ...string) error {
	for _, path := range paths {
		if _, err := os.Lstat(path); err == nil {
			return diag.List{{Pos: diag.Pos{File: path}, Msg: "the file exists already; nothing was written", Mend: "choose another name"}}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("looking for %s: %w", path, err)
		}
	}
	return nil
}

// createNew writes a file, and its folder.
func createNew(path string, text []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return atomicfile.WriteFile(path, text, 0o644)
}

// writeDemo writes the demonstrations as they stand in the source tree: the folders experiments and datasets.
func writeDemo(dir string, std streams) error {
	entries, err := os.ReadDir(dir)
	switch {
	case len(entries) > 0:
		return diag.List{{Pos: diag.Pos{File: dir}, Msg: "the folder is not empty; nothing was written", Mend: "choose an empty or new folder"}}
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return diag.List{{Pos: diag.Pos{File: dir}, Msg: "this is no folder, or it may not be read; nothing was written", Mend: "choose an empty or new folder"}}
	}
	for _, part := range []struct {
		name string
		from fs.FS
	}{{"experiments", experiments.Demos}, {"datasets", datasets.Demos}} {
		if err := copyTree(filepath.Join(dir, part.name), part.from); err != nil {
			return fmt.Errorf("writing the demos: %w", err)
		}
	}
	fmt.Fprintf(std.out, "Wrote the demos. Next:\n\n    fairlobe run %s\n", shellWord(filepath.Join(dir, "experiments", "ridge-wire.toml")))
	return nil
}

func copyTree(to string, from fs.FS) error {
	return fs.WalkDir(from, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		path := filepath.Join(to, filepath.FromSlash(name))
		if entry.IsDir() {
			return os.MkdirAll(path, 0o755)
		}
		data, err := fs.ReadFile(from, name)
		if err != nil {
			return err
		}
		return atomicfile.WriteFile(path, data, 0o644)
	})
}
