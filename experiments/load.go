package experiments

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"fairlobe/pipeline/diag"
)

// Load reads an experiment file and looks whether the folder and files that it names are there. The list has
// all faults and warnings, sorted by place; with any fault the Experiment is nil.
func Load(path string) (*Experiment, diag.List) {
	text, err := readFile(path)
	if err != nil {
		return nil, diag.List{{Pos: diag.Pos{File: path}, Msg: "the experiment file can't be read: " + reason(err),
			Mend: "name an experiment file, such as experiments/ridge-wire.toml; fairlobe new NAME writes one"}}
	}
	e, list := Parse(path, text, func(name string) ([]byte, error) {
		return readFile(filepath.Join(filepath.Dir(path), filepath.FromSlash(name)))
	})
	if e == nil {
		return nil, list
	}
	list = append(list, e.lookForData()...).Sort()
	if len(list.Faults()) > 0 {
		return nil, list
	}
	return e, list
}

// readFile reads a file of the size that an experiment file may have, and one byte more.
func readFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", path, err)
	}
	defer f.Close() // a file that was only read
	var b bytes.Buffer
	if _, err := io.Copy(&b, io.LimitReader(f, maxBytes+1)); err != nil {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	return b.Bytes(), nil
}

// reason is the cause of a fault of the file system in words that do not depend on it.
func reason(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		return "its permissions forbid it"
	default:
		return "it is no file, or the disk is at fault"
	}
}

// lookForData tells of a data folder or a log that is not there.
func (e *Experiment) lookForData() diag.List {
	if info, err := os.Stat(e.DataDir); err != nil || !info.IsDir() {
		return diag.List{{Pos: e.Pos("data"), Msg: fmt.Sprintf("the data folder %s is not there", filepath.ToSlash(e.DataDir)),
			Mend: "make the folder, or mend data = ..., which counts from the experiment file's folder"}}
	}
	if e.Switches == "" {
		return nil
	}
	if _, err := os.Stat(filepath.Join(e.DataDir, filepath.FromSlash(e.Switches))); err != nil {
		return diag.List{{Pos: e.Pos("log.switches"), Severity: diag.Warning, Code: "no_log",
			Msg:  fmt.Sprintf("the switch log %s is not there, so that the planned times count", e.Switches),
			Mend: "make the file before the trial (fairlobe help log has its form); after it, check the name and the data folder"}}
	}
	return nil
}
