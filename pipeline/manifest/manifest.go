// Package manifest describes one run: what was read, what ran, what came out, with which build.
//
// A manifest holds what determines the outputs, and nothing else: no clock, no host, no user, and not
// whether a stage was computed or taken from a store. So the same run again gives the same bytes.
package manifest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"

	"fairlobe/pipeline/atomicfile"
)

// Format is the version of the JSON form.
const Format = 1

// Manifest is the content of manifest.json.
type Manifest struct {
	Format int    `json:"format"`
	Tool   string `json:"tool_version"`
	Go     string `json:"go_version"`
	// Command repeats the run when it is pasted.
	Command string  `json:"command"`
	Seed    *uint64 `json:"seed"` // null: the run draws nothing at random
	Inputs  []File  `json:"inputs"`
	Stages  []Stage `json:"stages"` // in the order of the graph
	Outputs []File  `json:"outputs"`
}

// File is one file and its content.
type File struct {
	Name   string `json:"name"` // with slashes
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // 64 hexadecimal digits
}

// Stage is one stage that made outputs.
type Stage struct {
	Name    string `json:"name"`
	Version int    `json:"version"`
	Key     string `json:"key"` // SHA-256 of all that the stage depends on
}

// Encode gives the JSON form: indented, files sorted by name, keys in a fixed order, a line feed at
// the end. Format is set by Encode.
func (m Manifest) Encode() ([]byte, error) {
	m.Format = Format
	m.Inputs = sorted(m.Inputs)
	m.Outputs = sorted(m.Outputs)
	if m.Stages == nil {
		m.Stages = []Stage{}
	}
	if err := m.check(); err != nil {
		return nil, fmt.Errorf("writing the manifest: %w", err)
	}
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(m); err != nil {
		return nil, fmt.Errorf("writing the manifest: %w", err)
	}
	return out.Bytes(), nil
}

func sorted(files []File) []File {
	out := append([]File{}, files...) // never nil: an empty list is written as []
	slices.SortFunc(out, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// Decode reads the JSON form. Unknown keys, another format, a name twice, an output name that leads
// out of its folder and a malformed SHA-256 are errors.
func Decode(data []byte) (Manifest, error) {
	var m Manifest
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return Manifest{}, fmt.Errorf("reading the manifest: %w", err)
	}
	if d.More() {
		return Manifest{}, fmt.Errorf("reading the manifest: more text after its end")
	}
	if err := m.check(); err != nil {
		return Manifest{}, fmt.Errorf("reading the manifest: %w", err)
	}
	return m, nil
}

// Write writes the manifest to path, wholly or not at all.
func Write(path string, m Manifest) error {
	data, err := m.Encode()
	if err != nil {
		return err
	}
	return atomicfile.WriteFile(path, data, 0o644)
}

// Read reads the manifest at path.
func Read(path string) (Manifest, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Manifest{}, fmt.Errorf("reading the manifest: %w", err)
	}
	return Decode(data)
}

var sumPattern = regexp.MustCompile(`^[0-9a-f]{64}$`)

func (m Manifest) check() error {
	if m.Format != Format {
		return fmt.Errorf("format = %d is not known here, only %d", m.Format, Format)
	}
	for _, s := range m.Stages {
		if !sumPattern.MatchString(s.Key) {
			return fmt.Errorf("stage %q has the malformed key %q", s.Name, s.Key)
		}
	}
	if err := checkFiles("input", m.Inputs); err != nil {
		return err
	}
	for _, f := range m.Outputs {
		if !fs.ValidPath(f.Name) || f.Name == "." || strings.Contains(f.Name, `\`) {
			return fmt.Errorf("output name %q does not stay inside its folder", f.Name)
		}
	}
	return checkFiles("output", m.Outputs)
}

func checkFiles(what string, files []File) error {
	seen := map[string]bool{}
	for _, f := range files {
		if seen[f.Name] {
			return fmt.Errorf("%s %q stands twice", what, f.Name)
		}
		seen[f.Name] = true
		if !sumPattern.MatchString(f.SHA256) || f.Bytes < 0 {
			return fmt.Errorf("%s %q has a malformed size or SHA-256", what, f.Name)
		}
	}
	return nil
}
