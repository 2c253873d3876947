// Package repeat is about an experiment that repeats another operator's: it writes the repeat's experiment file, keeps where
// it comes from in NAME.origin.json, and tells in what the two differ.
//
// A repeat is direct if everything that its file declares, but for the place and the length of the trial, is as in the
// original; else it is varied. What stands in no file (how the wire was cut, what stands beside it) is not compared.
package repeat

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode"

	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
)

// Suffix is what follows the experiment's name in the name of the file.
const Suffix = ".origin.json"

// Format is the version of the file.
const Format = 1

// Kinds of a repeat.
const (
	Direct = "direct"
	Varied = "varied"
)

// MaxBytes is the limit of an origin file: an experiment file has some 100 kB at most, and this holds one as JSON.
const MaxBytes = 4 << 20

// maxLines is the most differences that an origin tells; a file with all keys of all arms stays below.
const maxLines = 2000

// Origin is the content of NAME.origin.json: the experiment that this one repeats.
type Origin struct {
	Format int `json:"format"`
	// Identity is that of the bundle that was received: "sha256:" and 64 hexadecimal digits.
	Identity string `json:"identity"`
	Title    string `json:"title"`
	// Content is what decided the verdicts of the original, in its private form, as experiments.Experiment.Decisive gives it. Where
	// its schedule stood in a file, schedule has what was read off that file beside order.
	Content map[string]any `json:"content"`
	// Kind and Differences are those of the day on which the file was written; Against gives those of today.
	Kind        string   `json:"kind"`
	Differences []string `json:"differences"`
}

var identityForm = regexp.MustCompile(`^sha256:[0-9a-f]{64}$`)

// Parse reads an origin file. The name is for findings only; the error is a diag.List.
func Parse(name string, text []byte) (*Origin, error) {
	if len(text) > MaxBytes {
		return nil, damaged(name, fmt.Sprintf("it has more than %d MiB", MaxBytes>>20))
	}
	var of struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(text, &of); err == nil && of.Format > Format {
		return nil, diag.List{{Pos: diag.Pos{File: name}, Code: "future_format",
			Msg:  fmt.Sprintf("its format is %d, and this version of fairlobe reads %d", of.Format, Format),
			Mend: "take a newer version of fairlobe"}}
	}
	var o Origin
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&o); err != nil {
		return nil, damaged(name, Printable(err.Error()))
	}
	if _, err := decoder.Token(); err != io.EOF {
		return nil, damaged(name, "something follows the object")
	}
	if msg := o.fault(); msg != "" {
		return nil, damaged(name, msg)
	}
	return &o, nil
}

func damaged(name, msg string) error {
	return diag.List{{Pos: diag.Pos{File: name}, Code: "origin", Msg: "this is no whole origin of a repeat: " + msg,
		Mend: "put back the file as fairlobe receive wrote it; without it the experiment counts as one of its own"}}
}

// fault says what is wrong with the values, "" for nothing.
func (o *Origin) fault() string {
	switch {
	case o.Format != Format:
		return fmt.Sprintf("its format is %d, and this version reads %d", o.Format, Format)
	case !identityForm.MatchString(o.Identity):
		return "its identity is not sha256: and 64 hexadecimal digits"
	case o.Content == nil:
		return "it has no content"
	case o.Kind != Direct && o.Kind != Varied:
		return fmt.Sprintf("its kind is %q, and not %s or %s", Printable(o.Kind), Direct, Varied)
	case len(o.Differences) > maxLines:
		return fmt.Sprintf("it has more than %d differences", maxLines)
	case len(o.Title) > maxShown || o.Title != Printable(o.Title):
		return "its title is longer than a line, or holds a control character"
	}
	for _, line := range o.Differences {
		if line != Printable(line) {
			return "one of its differences holds a control character"
		}
	}
	return ""
}

// Encode gives the file. The same origin gives the same bytes.
func (o *Origin) Encode() ([]byte, error) {
	whole := *o
	if whole.Differences == nil {
		whole.Differences = []string{}
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(whole); err != nil {
		return nil, fmt.Errorf("writing the origin of a repeat: %w", err)
	}
	return out.Bytes(), nil
}

// Against compares the original with the repeat as it is declared now.
func (o *Origin) Against(e *experiments.Experiment) (Comparison, error) {
	own, err := plain(e.Decisive())
	if err != nil {
		return Comparison{}, err
	}
	return Compare(o.Content, own), nil
}

// Renewed is the origin with the kind and the differences of a repeat whose decisive content is given, in the form that may
// leave the house: differences tell values of both.
func (o *Origin) Renewed(own map[string]any) (*Origin, error) {
	own, err := plain(own)
	if err != nil {
		return nil, err
	}
	c := Compare(o.Content, own)
	renewed := *o
	renewed.Kind, renewed.Differences = c.Kind(), c.Lines()
	return &renewed, nil
}

// plain brings decisive content into the types that JSON has.
func plain(content map[string]any) (map[string]any, error) {
	text, err := json.Marshal(content)
	if err != nil {
		return nil, fmt.Errorf("comparing with the original: %w", err)
	}
	var out map[string]any
	if err := json.Unmarshal(text, &out); err != nil {
		return nil, fmt.Errorf("comparing with the original: %w", err)
	}
	return out, nil
}

// maxShown is the longest text of the original that is shown, in bytes: as long as a text of an experiment file may be.
const maxShown = 4000

// Printable is a text from another house as it may stand on a screen: on one line, without characters that steer a terminal or
// turn letters around, and not longer than a text of an experiment file.
func Printable(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, strings.ToValidUTF8(text, "?"))
	if len(text) > maxShown {
		text = strings.ToValidUTF8(text[:maxShown], "")
	}
	return text
}
