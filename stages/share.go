package stages

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/experiments"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/handover"
	"fairlobe/stages/judge"
	"fairlobe/stages/paths"
	"fairlobe/stages/report"
	"fairlobe/stages/schedule"
)

// Home is a trial at home: run to its verdicts, and about to be handed over.
type Home struct {
	Experiment *experiments.Experiment
	Planned    []schedule.Dwell
	Seal       Standing
	Looks      int
	// Name is that of the bundle, Tool the program's name and version.
	Name, Tool string
	// Done is what the run made.
	Done *pipeline.Outcome
	Jobs int
}

// Handed is what leaves the house of a trial.
type Handed struct {
	// Files are those of the payload that rest on the run, and the design. What stands beside the experiment file (seal,
	// ledger, log, origin) is not among them.
	Files []handover.File
	// Experiment is the experiment as somebody else will read it.
	Experiment *experiments.Experiment
	// Hidden is what stays.
	Hidden *handover.Hidden
	// Created is the time of the last report; without one it is that of the design.
	Created time.Time
	// Read and Used count rows of spot files.
	Read, Used int

	tables map[string]arrow.Record
}

// Release gives the tables back.
func (h *Handed) Release() {
	for _, rec := range h.tables {
		rec.Release()
	}
	h.tables = nil
}

// Rows counts the rows of a table that leaves the house.
func (h *Handed) Rows(table string) int64 {
	if rec := h.tables[table]; rec != nil {
		return rec.NumRows()
	}
	return 0
}

// Tables counts the tables that leave the house.
func (h *Handed) Tables() int { return len(h.tables) }

// DataPackage describes files of a payload; without a run it knows no tables.
func (h *Handed) DataPackage(about handover.About, files []handover.File) ([]byte, error) {
	return handover.DataPackage(about, files, h.tables)
}

// Design gives what leaves the house of a design: the experiment in its private form and the schedule.
func Design(exp *experiments.Experiment, planned []schedule.Dwell, seal Standing) (*Handed, error) {
	text, err := exp.Private()
	if err != nil {
		return nil, err
	}
	order, err := scheduleFile(planned)
	if err != nil {
		return nil, err
	}
	private, list := experiments.Parse(handover.FileExperiment, text, func(string) ([]byte, error) { return order, nil })
	if err := list.Err(); err != nil {
		return nil, fmt.Errorf("the private form of the experiment can't be read, which is a mistake in the program: %w", err)
	}
	h := &Handed{Experiment: private, Hidden: handover.NewHidden(), Created: seal.SealedAt,
		Files: []handover.File{{Name: handover.FileExperiment, Data: text}, {Name: handover.FileSchedule, Data: order}}}
	if h.Created.IsZero() && len(planned) > 0 {
		h.Created = planned[0].Start
	}
	return h, nil
}

// HandOver makes the private forms, runs judge and report over them, and holds what they find against what they found at
// home: but for names of files and sweeps everything must be the same, or nothing leaves the house.
func (h Home) HandOver(ctx context.Context, key handover.Key) (*Handed, error) {
	out, err := Design(h.Experiment, h.Planned, h.Seal)
	if err != nil {
		return nil, err
	}
	away, err := h.hide(ctx, key, out)
	if err != nil {
		return nil, err
	}
	defer away.Release()
	done, err := away.run(ctx, h.Jobs)
	if err != nil {
		return nil, fmt.Errorf("judging once more what would be handed over: %w", err)
	}
	if err := h.compare(done, out.Hidden); err != nil {
		return nil, err
	}
	return out, h.fill(out, away, done)
}

// hide gives the trial as somebody else will have it.
func (h Home) hide(ctx context.Context, key handover.Key, out *Handed) (*Given, error) {
	var err error
	g := &Given{Experiment: out.Experiment, Planned: h.Planned, Accounts: map[string][]byte{},
		Standing: handover.Standing{Format: 1, Name: h.Name, Tool: h.Tool, Seal: h.Seal.Digest, SealState: h.Seal.State,
			Added: h.Seal.Added, Looks: h.Looks}}
	if h.Seal.State != judge.SealNone {
		g.Standing.SealedMs = h.Seal.SealedAt.UnixMilli()
	}
	home := map[string]arrow.Record{}
	defer func() {
		for _, rec := range home {
			rec.Release()
		}
	}()
	for _, o := range givenTables() {
		if o.Name == paths.TablePaths {
			continue // made anew
		}
		if home[o.Name], err = h.Done.Table(o.Name); err != nil {
			delete(home, o.Name)
			return nil, err
		}
	}
	of := strconv.FormatUint(h.Experiment.Seed, 10) + " " + h.Experiment.Name
	if g.Tables, err = key.HideTables(home, of, out.Hidden); err != nil {
		return nil, err
	}
	if g.Tables[paths.TablePaths], err = g.pathsAway(ctx); err != nil {
		return nil, err
	}
	text, err := h.Done.Bytes(handover.FileTrial)
	if err != nil {
		return nil, err
	}
	if g.Accounts[handover.FileTrial], err = handover.HideTrial(text, out.Hidden); err != nil {
		return nil, err
	}
	if text, err = h.Done.Bytes(handover.FileIntake); err != nil {
		return nil, err
	}
	g.Accounts[handover.FileIntake], err = handover.HideIntake(text, h.InputNames(), out.Hidden)
	return g, err
}

// pathsAway makes table paths from what leaves the house, so that it tells nothing else.
func (g *Given) pathsAway(ctx context.Context) (arrow.Record, error) {
	s := paths.Stage(paths.Params{Locator: g.Experiment.Station.Locator})
	in := map[string]arrow.Record{}
	for _, need := range s.Needs {
		in[need] = g.Tables[need]
	}
	made, err := s.Run(ctx, pipeline.NewInput(ctx, memory.NewGoAllocator(), in, nil))
	if err != nil {
		return nil, fmt.Errorf("making table paths from what leaves the house: %w", err)
	}
	exact := made.Tables[paths.TablePaths]
	defer exact.Release()
	return handover.RoundPaths(exact), nil
}

// InputNames gives the names that stand for those of the input files.
func (h Home) InputNames() map[string]string {
	out := map[string]string{}
	for i, away := range handover.Numbered("input", len(h.Done.Inputs)) {
		out[h.Done.Inputs[i].Name] = away
	}
	return out
}

// compare proves that the private form changes no verdict.
func (h Home) compare(away *pipeline.Outcome, hidden *handover.Hidden) error {
	for _, o := range judged() {
		if o.Name != judge.TableVerdicts && away.Digest(o.Name) != h.Done.Digest(o.Name) {
			return changes("table " + o.Name + " differs")
		}
	}
	text, err := h.Done.Bytes(report.FileVerdicts)
	if err != nil {
		return err
	}
	want, err := hidden.Away(text)
	if err != nil {
		return err
	}
	if text, err = away.Bytes(report.FileVerdicts); err != nil {
		return err
	}
	have, err := handover.SortedVerdicts(text)
	if err != nil {
		return err
	}
	if !bytes.Equal(want, have) {
		return changes("verdicts.json differs, first in " + firstOther(want, have))
	}
	return nil
}

func changes(what string) error {
	return fmt.Errorf("the form that would be handed over gives other verdicts than the data at home (%s); that is a mistake in the program, "+
		"and nothing was written", what)
}

// firstOther gives the first line that differs.
func firstOther(want, have []byte) string {
	a, b := strings.Split(string(want), "\n"), strings.Split(string(have), "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return fmt.Sprintf("%s, at home %s", strings.TrimSpace(b[i]), strings.TrimSpace(a[i]))
		}
	}
	return "its end"
}

// fill puts together the files of the payload.
func (h Home) fill(out *Handed, g *Given, done *pipeline.Outcome) error {
	standing, err := g.Standing.Encode()
	if err != nil {
		return err
	}
	all, err := g.made(done)
	if err != nil {
		return err
	}
	all[handover.FileStanding] = standing
	maps.Copy(all, g.Accounts)
	for _, o := range givenTables() {
		if all[handover.Parquet(o.Name)], err = done.Bytes(o.Name); err != nil {
			return err
		}
	}
	delete(all, handover.FileSchedule) // it is there
	for _, name := range slices.Sorted(maps.Keys(all)) {
		out.Files = append(out.Files, handover.File{Name: name, Data: all[name]})
	}
	out.tables = map[string]arrow.Record{}
	for _, name := range SharedTables() {
		if out.tables[name], err = done.Table(name); err != nil {
			delete(out.tables, name)
			return err
		}
	}
	last, err := out.countRows(g.Accounts[handover.FileIntake])
	if err == nil && !last.IsZero() {
		out.Created = last
	}
	return err
}

func (h *Handed) countRows(intake []byte) (last time.Time, err error) {
	h.Read, h.Used, last, err = handover.Rows(intake)
	return last, err
}

// Limits below which a text is no word to search for: it would be found where it means nothing.
const (
	fewestOfCall = 4
	fewestOfNote = 12
	fewestOfName = 6
)

// PrivateWords are what must not be found in files that are handed over: calls, full places, notes, names of files and folders.
// inputs are names of input files; places are folders.
func PrivateWords(exp *experiments.Experiment, hidden *handover.Hidden, inputs, places []string) []handover.Word {
	var out []handover.Word
	add := func(text, what string) {
		if w := (handover.Word{Text: text, What: what}); text != "" && !slices.Contains(out, w) {
			out = append(out, w)
		}
	}
	addCall := func(call, what string) {
		add(call, what)
		for _, part := range strings.Split(call, "/") {
			if len(part) >= fewestOfCall && strings.ContainsFunc(part, unicode.IsDigit) && strings.ContainsFunc(part, unicode.IsLetter) {
				add(part, what)
			}
		}
	}
	addPlace := func(locator, what string) {
		for n := 6; n <= len(locator); n += 2 {
			add(locator[:n], what)
		}
	}
	for _, call := range exp.Station.Calls() {
		addCall(call, "your call")
	}
	addPlace(exp.Station.Locator, "your locator")
	if exp.Control != nil {
		addCall(exp.Control.Call, "the call of the control station")
		addPlace(exp.Control.Locator, "the locator of the control station")
	}
	for _, call := range hidden.Calls {
		if len(call) >= fewestOfCall {
			addCall(call, "the call of a station")
		}
	}
	for _, at := range hidden.Locators {
		addPlace(at, "the locator of a station")
	}
	for _, note := range hidden.Notes {
		says := []handover.Word{{Text: note, What: "a note of the log"}}
		public := slices.ContainsFunc(exp.Texts(), func(t experiments.Text) bool { return len(handover.Find(t.Value, says)) > 0 })
		if len([]rune(note)) >= fewestOfNote && !public {
			add(note, says[0].What)
		}
	}
	for _, name := range append(slices.Clone(inputs), exp.Station.File, exp.Schedule.File) {
		for _, one := range []string{name, path.Base(name)} {
			if len(one) >= fewestOfName && strings.ContainsAny(one, "./") && !member(one) {
				add(one, "the name of a file")
			}
		}
	}
	for _, dir := range places {
		if dir = filepath.ToSlash(dir); strings.Count(dir, "/") > 1 || len(dir) >= fewestOfName {
			add(dir, "the path of a folder")
		}
	}
	return out
}

// member tells whether a name is one that every bundle has.
func member(name string) bool {
	for _, table := range SharedTables() {
		if name == path.Base(handover.CSV(table)) || name == path.Base(handover.Parquet(table)) {
			return true
		}
	}
	return slices.Contains(handover.Members(), name)
}

// CheckPrivate searches files that are about to leave the house. A word that stands in the experiment file is told with its place there.
func CheckPrivate(exp *experiments.Experiment, files []handover.File, words []handover.Word) error {
	hits, err := handover.Search(files, words)
	if err != nil {
		return err
	}
	var list diag.List
	told := map[handover.Word]bool{}
	for _, text := range exp.Texts() {
		for _, w := range handover.Find(text.Value, words) {
			told[w] = true
			list = append(list, diag.Diag{Pos: text.Pos, Code: "private",
				Msg:  fmt.Sprintf("%s holds %s, %s, and would leave the house; nothing was written", text.Path, w.Text, w.What),
				Mend: "write it without; a change of the title leaves the seal whole, other changes are told beside the verdicts"})
		}
	}
	for _, hit := range hits {
		if told[hit.Word] {
			continue
		}
		where := hit.Member
		if hit.Where != "" {
			where += ", " + hit.Where
		}
		mend := "if the experiment's name holds it, give its file, seal and ledger another name; " +
			"else it is a mistake in fairlobe: please tell its authors"
		if hit.Member == handover.FileSeal {
			mend = "it was sealed with that text, and what was sealed can't be changed; " +
				"without the seal the trial can be shared, but its order is then random by your word alone"
		}
		list = append(list, diag.Diag{Pos: diag.Pos{File: exp.File}, Code: "private", Mend: mend,
			Msg: fmt.Sprintf("the bundle would hold %s, %s (%s); nothing was written", hit.Word.Text, hit.Word.What, where)})
	}
	return list.Sort().Err()
}
