package main

import (
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fairlobe/datasets"
	"fairlobe/experiments"
	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
)

//go:embed new.toml
var newTemplate string

type newOptions struct {
	demo          string
	call, locator string
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
		Short: "A commented experiment file to fill in; --demo: the built-in demo",
		Long:  newLong,
		Args: func(_ *cobra.Command, args []string) error {
			if opt.demo != "" && len(args) > 0 || opt.demo == "" && len(args) != 1 {
				return usage("new wants one NAME, or --demo DIR")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if opt.demo != "" {
				return writeDemo(opt.demo, std)
			}
			return writeNew(args[0], opt, time.Now(), std)
		},
	}
	cmd.Flags().StringVar(&opt.demo, "demo", "", "write the built-in demo into this `folder`")
	cmd.Flags().StringVar(&opt.call, "call", placeholderCall, "your call `sign`")
	cmd.Flags().StringVar(&opt.locator, "locator", placeholderLocator, "your `locator`, six characters")
	return cmd
}

var plainName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]*$`)

// writeNew writes an experiment file to fill in. now only proposes a date.
func writeNew(name string, opt newOptions, now time.Time, std streams) error {
	dir, base := filepath.Split(strings.TrimSuffix(name, ".toml"))
	if !plainName.MatchString(base) {
		return usage("%q is no name for an experiment: use letters, digits, '.', '_' and '-'", base)
	}
	text := strings.NewReplacer("@NAME@", base, "@CALL@", quoted(opt.call), "@LOCATOR@", quoted(opt.locator),
		"@START@", now.UTC().Add(24*time.Hour).Truncate(time.Hour).Format(time.RFC3339)).Replace(newTemplate)
	path := filepath.Join(dir, base+".toml")
	if _, list := experiments.Parse(path, []byte(text), nil); list.Err() != nil {
		return usage("--call or --locator: %s", list.Faults().Sort()[0].Msg)
	}
	log := filepath.Join(dir, base, "log", "switches.csv")
	if err := mustBeNew(path, log); err != nil {
		return err
	}
	if err := createNew(path, []byte(text)); err != nil {
		return err
	}
	for _, sub := range []string{"spots", "sweeps", "log"} {
		if err := os.MkdirAll(filepath.Join(dir, base, sub), 0o755); err != nil {
			return fmt.Errorf("making the data folders: %w", err)
		}
	}
	if err := createNew(log, []byte("time,entered,event,session,band,block,arm,value,note\n")); err != nil {
		return err
	}
	fmt.Fprintf(std.out, "Wrote %s and the folder %s for its data.\nNext: fill in the file, then\n\n    fairlobe check %s\n", path, filepath.Join(dir, base), path)
	return nil
}

// quoted is a text between the quotation marks of TOML, without them.
func quoted(text string) string {
	q := strconv.Quote(text)
	return q[1 : len(q)-1]
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

// writeDemo writes the demonstration as it stands in the source tree: the folders experiments and datasets.
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
	}{{"experiments", experiments.RidgeWire}, {"datasets", datasets.RidgeWire}} {
		if err := copyTree(filepath.Join(dir, part.name), part.from); err != nil {
			return fmt.Errorf("writing the demo: %w", err)
		}
	}
	fmt.Fprintf(std.out, "Wrote the demo. Next:\n\n    fairlobe run %s\n", filepath.Join(dir, "experiments", "ridge-wire.toml"))
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
