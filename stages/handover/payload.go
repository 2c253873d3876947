package handover

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// Names of the files of a bundle's payload.
const (
	FilePackage    = "datapackage.json"
	FileExperiment = "experiment.toml"
	FileSeal       = "seal.json"
	FileLooks      = "looks.csv"
	FileSwitches   = "switches.csv"
	FileSchedule   = "schedule.csv"
	FileOrigin     = "origin.json"
	FileTrial      = "trial.json"
	FileIntake     = "intake.json"
	FileStanding   = "standing.json"
	FileVerdicts   = "verdicts.json"
	FilePage       = "report.html"
	FileManifest   = "manifest.json"
)

// DesignMembers are the names of the files that the payload of a design may hold.
func DesignMembers() []string {
	return []string{FilePackage, FileExperiment, FileSchedule, FileSeal, FileOrigin}
}

// Members are the names of all files that the payload of a trial may hold, but those of tables.
func Members() []string {
	return append(DesignMembers(), FileStanding, FileTrial, FileIntake, FileLooks, FileSwitches, FileVerdicts, FilePage, FileManifest)
}

// Parquet and CSV give the names of a table's two files.
func Parquet(table string) string { return "tables/" + table + ".parquet" }

// CSV is the name of a table as text.
func CSV(table string) string { return "tables/" + table + ".csv" }

// Code is that of faults of a payload's files.
const Code = "payload"

// fault speaks of a file of the payload.
func fault(file, msg string) diag.List {
	return diag.List{{Pos: diag.Pos{File: "data/" + file}, Code: Code, Msg: msg, Mend: "ask the sender for the bundle once more; it was not made by fairlobe share, or was changed since"}}
}

// Fault tells of a file of a payload that can't be used.
func Fault(file string, err error) error { return fault(file, err.Error()) }

// Files gives a file of a payload by its name.
type Files func(name string) ([]byte, bool)

// Want gives a file that must be there.
func (f Files) Want(name string) ([]byte, error) {
	data, ok := f(name)
	if !ok {
		return nil, fault(name, "the bundle has no such file")
	}
	return data, nil
}

// mostRows bounds the rows of one table: some hundred times those of a large trial.
const mostRows = 4_000_000

// Table reads one table and holds it against its schema. The caller releases it.
func (f Files) Table(mem memory.Allocator, o pipeline.Output) (arrow.Record, error) {
	file := Parquet(o.Name)
	data, err := f.Want(file)
	if err != nil {
		return nil, err
	}
	if n, err := table.Rows(data); err != nil || n > mostRows {
		if err == nil {
			err = fmt.Errorf("it has %d rows, more than %d", n, mostRows)
		}
		return nil, Fault(file, err)
	}
	if err := checkVersion(file, data, o.Schema); err != nil {
		return nil, err
	}
	rec, err := table.Decode(mem, data, o.Schema)
	if err != nil {
		return nil, Fault(file, err)
	}
	if err := table.CheckSorted(rec, table.SortKeys(o.Schema)); err != nil {
		rec.Release()
		return nil, Fault(file, err)
	}
	return rec, nil
}

// checkVersion refuses a table of a later version than that of the schema.
func checkVersion(file string, data []byte, schema *arrow.Schema) error {
	written, err := table.Note(data, "version")
	if err != nil {
		return Fault(file, err)
	}
	reads, _ := schema.Metadata().GetValue("version")
	is, err := strconv.Atoi(written)
	if known, _ := strconv.Atoi(reads); err == nil && is > known {
		return Later(file, fmt.Sprintf("the table has version %d, and this version of fairlobe reads %d", is, known))
	}
	return nil
}

// Later tells of a file that a later version of the program has written.
func Later(file, msg string) error {
	return diag.List{{Pos: diag.Pos{File: "data/" + file}, Code: "future_format", Msg: msg, Mend: "take a newer version of fairlobe"}}
}

// CheckTables holds tables against one another, as far as those who read them rely on it: stations are numbered from 0
// without a hole, every other table names stations that are there, and what must be a number is one.
func CheckTables(tables map[string]arrow.Record) error {
	stations := int64(0)
	for r := table.NewReader(tables["stations"]); r.Next(); stations++ {
		if r.Int("number") != stations {
			return fault(Parquet("stations"), fmt.Sprintf("row %d has the number %d: stations are numbered from 0 without a hole", r.Row()+1, r.Int("number")))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(tables)) { // so that the same one of several faults is told each time
		if err := checkTable(name, tables[name], stations); err != nil {
			return err
		}
	}
	return nil
}

// mostSize is far above every number of a table, and far below what makes sums and squares of numbers overflow.
const mostSize = 1e12

func checkTable(name string, rec arrow.Record, stations int64) error {
	for _, f := range rec.Schema().Fields() {
		switch {
		case f.Name == "station":
			of := table.Ints(rec, f.Name)
			for i := range of.Len() {
				if of.Value(i) < 0 || of.Value(i) >= stations {
					return fault(Parquet(name), fmt.Sprintf("row %d names station %d of %d", i+1, of.Value(i), stations))
				}
			}
		case f.Type.ID() == arrow.FLOAT64:
			of := table.Floats(rec, f.Name)
			for i := range of.Len() {
				if of.IsValid(i) && !(math.Abs(of.Value(i)) <= mostSize) {
					return fault(Parquet(name), fmt.Sprintf("row %d has no number in column %s", i+1, f.Name))
				}
			}
		}
	}
	return nil
}

// Accounts reads trial.json and intake.json, checks that they are what they should be, and gives their bytes.
func (f Files) Accounts() (map[string][]byte, error) {
	out := map[string][]byte{}
	for _, file := range []struct {
		name string
		into any
	}{{FileTrial, &account.Trial{}}, {FileIntake, &account.Intake{}}} {
		data, err := f.Want(file.name)
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(data, file.into); err != nil {
			return nil, Fault(file.name, err)
		}
		out[file.name] = data
	}
	return out, nil
}
