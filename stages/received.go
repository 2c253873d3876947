package stages

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/experiments"
	"fairlobe/experiments/looks"
	"fairlobe/experiments/repeat"
	"fairlobe/experiments/seal"
	"fairlobe/pipeline/bag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/dwells"
	"fairlobe/stages/handover"
	"fairlobe/stages/judge"
	"fairlobe/stages/report"
	"fairlobe/stages/schedule"
)

// Received is the payload of a bundle in which everything was checked that can be checked without a rerun.
type Received struct {
	// Experiment is the experiment in its private form, Planned its dwells.
	Experiment *experiments.Experiment
	Planned    []schedule.Dwell
	// Given is what the judge reads; nil if only the design was handed over.
	Given *Given
	// Seal is nil without one; SealState says whether the experiment is still what was sealed, Changed in what it is not.
	Seal      *seal.Seal
	SealState judge.SealState
	Changed   []string
	// Origin is what the experiment itself repeats; nil if it repeats none.
	Origin *repeat.Origin
}

// ReceivedIn reads the payload of a bundle: names are those of its files. A file that is missing, at fault, or not of one
// piece with the others is a diag.List. Release gives the tables back.
func ReceivedIn(names []string, file handover.Files) (r *Received, err error) {
	r = &Received{SealState: judge.SealNone}
	defer func() {
		if err != nil {
			r.Release()
			r = nil
		}
	}()
	if err := knownNames(names); err != nil {
		return r, err
	}
	if err := described(names, file); err != nil {
		return r, err
	}
	design := !slices.Contains(names, handover.FileStanding)
	if design {
		r.Experiment, r.Planned, err = designIn(file)
	} else if r.Given, err = givenIn(file); err == nil {
		r.Experiment, r.Planned = r.Given.Experiment, r.Given.Planned
	}
	if err != nil {
		return r, err
	}
	if err := r.readOrigin(file); err != nil {
		return r, err
	}
	if err := r.checkSeal(file); err != nil {
		return r, err
	}
	if design {
		return r, nil
	}
	if err := beside(file); err != nil {
		return r, err
	}
	return r, r.tables(file)
}

// Release gives the tables back.
func (r *Received) Release() {
	if r.Given != nil {
		r.Given.Release()
	}
}

// knownNames refuses files that no bundle holds: they would be unpacked unread.
func knownNames(names []string) error {
	legal := handover.DesignMembers()
	if slices.Contains(names, handover.FileStanding) {
		legal = handover.Members()
		for _, t := range SharedTables() {
			legal = append(legal, handover.Parquet(t), handover.CSV(t))
		}
	}
	for _, name := range names {
		if !slices.Contains(legal, name) {
			return handover.Fault(name, errors.New("such a file does not belong into a bundle"))
		}
	}
	return nil
}

// described holds the description of the data package against what is there.
func described(names []string, file handover.Files) error {
	text, err := file.Want(handover.FilePackage)
	if err != nil {
		return err
	}
	var p struct {
		Profile   string `json:"profile"`
		Resources []struct {
			Path  string `json:"path"`
			Bytes *int   `json:"bytes"`
			Hash  string `json:"hash"`
		} `json:"resources"`
	}
	if err := json.Unmarshal(text, &p); err != nil {
		return handover.Fault(handover.FilePackage, err)
	}
	told := map[string]bool{handover.FilePackage: true}
	for _, res := range p.Resources {
		data, ok := file(res.Path)
		sum := sha256.Sum256(data)
		switch {
		case !ok:
			return handover.Fault(handover.FilePackage, fmt.Errorf("it describes %q, which the bundle does not hold", res.Path))
		case told[res.Path]:
			return handover.Fault(handover.FilePackage, fmt.Errorf("it describes %q twice", res.Path))
		case res.Bytes != nil && *res.Bytes != len(data):
			return handover.Fault(handover.FilePackage, fmt.Errorf("it says that %s has %d bytes, and it has %d", res.Path, *res.Bytes, len(data)))
		case res.Hash != "" && res.Hash != "sha256:"+hex.EncodeToString(sum[:]):
			return handover.Fault(handover.FilePackage, fmt.Errorf("it has another hash for %s", res.Path))
		}
		told[res.Path] = true
	}
	for _, name := range names {
		if !told[name] {
			return handover.Fault(handover.FilePackage, fmt.Errorf("it does not describe %s", name))
		}
	}
	return nil
}

func (r *Received) readOrigin(file handover.Files) error {
	text, ok := file(handover.FileOrigin)
	if !ok {
		return nil
	}
	var err error
	r.Origin, err = repeat.Parse("data/"+handover.FileOrigin, text)
	return err
}

// beside reads the files of a trial that stand beside the tables.
func beside(file handover.Files) error {
	text, err := file.Want(handover.FileLooks)
	if err != nil {
		return err
	}
	if _, err := looks.Parse("data/"+handover.FileLooks, text); err != nil {
		return err
	}
	if text, err = file.Want(handover.FileSwitches); err != nil {
		return err
	}
	if _, list := dwells.ReadLog(bytes.NewReader(noted(text)), "data/"+handover.FileSwitches); list.Err() != nil {
		return list.Err()
	}
	for _, name := range []string{handover.FileVerdicts, handover.FileManifest} {
		if err := isJSON(name, file); err != nil {
			return err
		}
	}
	page, err := file.Want(handover.FilePage)
	if err != nil {
		return err
	}
	if err := report.CheckForeign(page); err != nil {
		return handover.Fault(handover.FilePage, err)
	}
	return nil
}

// noted puts a word where notes were left out, for at home some events need one. A log that is no CSV comes out as it is: its
// reader tells why.
func noted(log []byte) []byte {
	in := csv.NewReader(bytes.NewReader(log))
	in.FieldsPerRecord = len(dwells.Header())
	rows, err := in.ReadAll()
	if err != nil {
		return log
	}
	note := len(dwells.Header()) - 1
	for _, row := range rows[min(1, len(rows)):] {
		if row[note] == "" {
			row[note] = "left out"
		}
	}
	var out bytes.Buffer
	if err := csv.NewWriter(&out).WriteAll(rows); err != nil {
		return log
	}
	return out.Bytes()
}

// verdictsFormat is the version of verdicts.json that this program writes.
const verdictsFormat = 1

func isJSON(name string, file handover.Files) error {
	text, err := file.Want(name)
	if err != nil {
		return err
	}
	d := json.NewDecoder(bytes.NewReader(text))
	var v map[string]any
	if err := d.Decode(&v); err != nil {
		return handover.Fault(name, err)
	}
	if _, err := d.Token(); err != io.EOF {
		return handover.Fault(name, errors.New("something follows the object"))
	}
	if is, ok := v["format"].(float64); ok && is > verdictsFormat && name == handover.FileVerdicts {
		return laterVerdicts(is)
	}
	return nil
}

// laterVerdicts refuses the verdicts of a later version.
func laterVerdicts(format float64) error {
	return handover.Later(handover.FileVerdicts, fmt.Sprintf("its format is %g, and this version of fairlobe reads %d", format, verdictsFormat))
}

// tables reads those that the judge made, and holds the text of every table against its Parquet file.
func (r *Received) tables(file handover.Files) error {
	if err := handover.CheckTrial(r.Given.Tables, r.arms(), r.Planned); err != nil {
		return err
	}
	made := map[string]arrow.Record{}
	defer func() {
		for _, rec := range made {
			rec.Release()
		}
	}()
	for _, o := range judged() {
		rec, err := file.Table(memory.NewGoAllocator(), o)
		if err != nil {
			return err
		}
		made[o.Name] = rec
	}
	for _, name := range SharedTables() {
		rec := r.Given.Tables[name]
		if rec == nil {
			rec = made[name]
		}
		text, err := file.Want(handover.CSV(name))
		if err != nil {
			return err
		}
		var again bytes.Buffer
		if err := table.WriteCSV(&again, rec); err != nil {
			return fmt.Errorf("writing table %s as CSV: %w", name, err)
		}
		if !bytes.Equal(again.Bytes(), text) {
			return handover.Fault(handover.CSV(name), errors.New("it does not hold what the Parquet file beside it holds"))
		}
	}
	return nil
}

func (r *Received) arms() []string {
	var out []string
	for _, a := range r.Experiment.Arms {
		out = append(out, a.Name)
	}
	return out
}

// checkSeal holds the seal against the experiment, its order, and what the standing says of it.
func (r *Received) checkSeal(file handover.Files) error {
	text, sealed := file(handover.FileSeal)
	state := judge.SealNone
	if sealed {
		s, err := seal.ReadShared(text)
		if err != nil {
			return handover.Fault(handover.FileSeal, err)
		}
		if s.Name != repeat.Printable(s.Name) {
			return handover.Fault(handover.FileSeal, errors.New("its name holds a control character"))
		}
		canonical, err := r.Experiment.Canonical()
		if err != nil {
			return fmt.Errorf("writing the experiment in its canonical form: %w", err)
		}
		same, orderSame, changed := s.Compare(canonical, r.Planned)
		switch {
		case !orderSame:
			state = judge.SealOrder
		case !same:
			state = judge.SealChanged
		case s.Seed != r.Experiment.Seed:
			return handover.Fault(handover.FileSeal, errors.New("it names another seed than the one that it seals"))
		default:
			state = judge.SealSame
		}
		r.Seal, r.SealState, r.Changed = &s.Seal, state, changed
	}
	if r.Given == nil {
		if state == judge.SealOrder {
			return handover.Fault(handover.FileSeal, errors.New("it seals another order than that of the experiment: "+r.Changed[0]))
		}
		return nil
	}
	told := r.Given.Standing
	if err := bag.CheckName(told.Name); err != nil {
		return handover.Fault(handover.FileStanding, err)
	}
	switch {
	case told.SealState != state:
		return handover.Fault(handover.FileSeal, fmt.Errorf("%s says that the seal is %q, and it is %q%s",
			handover.FileStanding, told.SealState, state, first(r.Changed)))
	case sealed && (told.Seal != r.Seal.Digest || told.SealedMs != r.Seal.SealedAt.UnixMilli()):
		return handover.Fault(handover.FileSeal, fmt.Errorf("%s tells of another seal", handover.FileStanding))
	}
	return nil
}

// first is the first of some differences, to follow a sentence.
func first(lines []string) string {
	if len(lines) == 0 {
		return ""
	}
	return ": " + lines[0]
}

// SealedBeforeFirstDwell tells whether the seal is older than the trial, by its own date; the planned times count where only the
// design was handed over.
func (r *Received) SealedBeforeFirstDwell() bool {
	if r.Seal == nil {
		return false
	}
	begin := r.Planned[0].Start
	if r.Given != nil {
		kept := table.NewReader(r.Given.Tables["dwells"]) // sorted by start; as many as were planned
		kept.Seek(0)
		begin = kept.Time("start")
	}
	return r.Seal.SealedAt.Before(begin)
}
