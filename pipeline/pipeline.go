// Package pipeline runs stages: pure functions from tables and source files to tables and files.
//
// A [Stage] says what it needs, what sources it reads, its parameters and what it makes; a [Graph] is
// a checked set of stages in an order in which they can run; [Run] runs those whose result is not in
// the store yet.
//
// A stage's key is the SHA-256 of a text that names all it depends on: the tool's version, the stage's
// name and version, its parameters, the content of each source and of each need. The content of a
// need counts, and not the key it was made under: when a stage runs again and makes the same bytes,
// the stages behind it don't run again. (The distinction follows the Go command's build cache,
// cmd/go/internal/work/buildid.go.)
//
// What holds on every run: a stage sees only what it declared; the number of jobs changes no byte
// and not the error that is told; a table is in the sort order of its schema; a source that changes
// while it is read is noticed; a kill at any moment leaves the store whole; and
// [Publish] puts files into a folder one by one, each whole, the manifest last.
//
// The package doesn't know what a column means, prints nothing and reads no clock.
package pipeline

import (
	"context"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/pipeline/diag"
)

// Source is a file that a stage reads.
type Source struct {
	// Name is shown to people and stands in keys and manifests: a path with slashes that doesn't
	// change with the machine or the folder. One name means one path in the whole graph.
	Name string
	// Path is where the file lies.
	Path string
}

// Output is one thing that a stage makes. Its name is unique in the graph.
type Output struct {
	Name string
	// Schema is that of a table, its sort key in its metadata; nil means plain bytes.
	Schema *arrow.Schema
}

// Stage computes outputs. Run must depend on nothing but its Input: no clock, no network, no
// environment, no file that Sources doesn't name, no variable that changes.
type Stage struct {
	Name    string   // stable: lower-case letters, digits, '_' and '-', a letter first
	Version int      // raised when the same input must now give other bytes
	Needs   []string // names of outputs of other stages
	Sources []Source
	// Params is nil or a plain struct: every field exported and part of the key.
	Params any
	Makes  []Output
	Run    func(ctx context.Context, in *Input) (*Result, error)
}

// Result is what a stage made: exactly the outputs it declared. The tables belong to the runner then.
type Result struct {
	Tables map[string]arrow.Record
	Files  map[string][]byte
	// Notes are warnings. They are stored beside the outputs and given again when the outputs come
	// from the store. A fault among them is the stage's error.
	Notes diag.List
}

// State tells how far a stage is.
type State int

// The states of a stage.
const (
	Waiting State = iota // for its needs or a free job
	Cached               // its outputs come from the store
	Running
	Done
	Failed
)

// String gives the state in one word.
func (s State) String() string {
	return [...]string{"waiting", "cached", "running", "done", "failed"}[s]
}

// Event is one step of progress. Events come one at a time; with several jobs their order differs
// from run to run.
type Event struct {
	Stage string
	State State
	// Done counts the stages that are cached or done, out of Total.
	Done, Total int
	// Reason says why a running stage is not taken from the store.
	Reason string
}
