package spots

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/adif"
	"fairlobe/stages/internal/delimited"
)

// maxUnpacked bounds what a packed file may unpack to, so that a small file can't fill the memory.
const maxUnpacked = 8 << 30

// Column tells where a value of a table comes from: columns of the file by name (by number, from 1, if the
// file has no header), or one value for every row.
type Column struct {
	Name    string // the name on the left, such as receiver_locator
	Columns []string
	Unit    string
	Value   *string
}

// Form describes delimited text.
type Form struct {
	Columns    []Column // sorted by name
	Delimiter  byte
	Header     bool
	TimeLayout string
}

// File is one spot file and how it is to be read.
type File struct {
	Name     string // below the data folder; also the name of the pipeline source
	Format   string // "adif" or "table"
	SeenFrom string // adif: "me" or "receiver"
	Form     Form   // table
	// Number tells apart the [[spots]] tables, should two of them name one file.
	Number int
}

// id names the file's stage: it must not change when other files come or go.
func (f File) id() string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %s", f.Number, f.Name))
	return hex.EncodeToString(sum[:6])
}

// Rows is the name of the output that holds the file's typed rows, Refused that of its refused rows.
func (f File) Rows() string    { return "rows_" + f.id() }
func (f File) Refused() string { return "refused_" + f.id() }

// Read makes the stage that reads one file, found at path.
func Read(f File, path string) pipeline.Stage {
	return pipeline.Stage{
		Name:    "read_" + f.id(),
		Version: 1,
		Sources: []pipeline.Source{{Name: f.Name, Path: path}},
		Params:  f,
		Makes:   []pipeline.Output{{Name: f.Rows(), Schema: rowsSchema("rows")}, {Name: f.Refused(), Schema: datasets.Quarantine()}},
		Run: func(ctx context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			got, err := f.read(in)
			if err != nil {
				return nil, err
			}
			return got.result(f), nil
		},
	}
}

// content is what was found in one file.
type content struct {
	rows    []row
	refused []refusal
	notes   diag.List
}

func (c *content) refuse(line int, column, value, reason string) {
	c.refused = append(c.refused, refusal{line, column, value, reason})
}

func (c *content) result(f File) *pipeline.Result {
	slices.SortStableFunc(c.rows, func(a, b row) int { return cmp.Compare(a.line, b.line) })
	slices.SortStableFunc(c.refused, func(a, b refusal) int {
		return cmp.Or(cmp.Compare(a.line, b.line), cmp.Compare(a.column, b.column), cmp.Compare(a.reason, b.reason), cmp.Compare(a.value, b.value))
	})
	return &pipeline.Result{
		Tables: map[string]arrow.Record{
			f.Rows():    encodeRows(table.NewBuilder(rowsSchema("rows")), c.rows),
			f.Refused(): encodeRefusals(table.NewBuilder(datasets.Quarantine()), f.Name, c.refused),
		},
		Notes: c.notes,
	}
}

func (f File) read(in *pipeline.Input) (*content, error) {
	src, err := in.Open(f.Name)
	if err != nil {
		return nil, err
	}
	defer src.Close()
	plain, err := delimited.Gunzip(src, maxUnpacked)
	if err != nil {
		return nil, f.fault(0, err.Error(), "fetch or pack the file again")
	}
	switch f.Format {
	case "adif":
		return f.readADI(plain)
	case "table":
		return f.readTable(plain)
	}
	return nil, f.fault(0, fmt.Sprintf("spots in the format %q can't be read by this version", f.Format),
		`give ADI text with format = "adif", or delimited text with format = "table"`)
}

// fault is a finding about the whole file: nothing of it can be used.
func (f File) fault(line int, msg, mend string) error {
	return diag.List{{Pos: diag.Pos{File: f.Name, Line: line}, Msg: msg, Mend: mend}}
}

// readADI reads open Amateur Data Interchange Format text. In my own log both reports of a record count; in a
// file whose records were written by the listeners only what the listener gave counts, for it is the one
// thing that the writer knows at first hand.
func (f File) readADI(r io.Reader) (*content, error) {
	c := &content{}
	seen := map[string]*diag.Diag{}
	count := map[string]int{}
	summary, err := adif.Options{}.Read(r, -1, func(rec *adif.Record) error {
		if !rec.Accepted {
			c.refuseRecord(rec)
			return nil
		}
		for _, w := range rec.Findings {
			count[w.Kind]++
			if seen[w.Kind] == nil {
				seen[w.Kind] = &diag.Diag{Pos: diag.Pos{File: f.Name, Line: w.Line}, Severity: diag.Warning, Code: w.Kind, Msg: w.Msg, Mend: w.Mend}
			}
		}
		c.addRecord(rec, f.SeenFrom)
		return nil
	})
	if err != nil {
		return nil, f.fault(0, err.Error(), "check the file; it must be ADI text of at most 2 GiB")
	}
	if summary.Rejected {
		w := summary.Findings[0]
		return nil, f.fault(max(w.Line, 1), w.Msg, w.Mend)
	}
	for _, w := range summary.Findings {
		c.notes = append(c.notes, diag.Diag{Pos: diag.Pos{File: f.Name, Line: w.Line}, Severity: diag.Warning, Code: w.Kind, Msg: w.Msg, Mend: w.Mend})
	}
	for kind, d := range seen {
		if n := count[kind]; n > 1 {
			d.Msg += fmt.Sprintf(" (and %d more like it)", n-1)
		}
		c.notes = append(c.notes, *d)
	}
	c.notes = c.notes.Sort()
	return c, nil
}

func (c *content) refuseRecord(rec *adif.Record) {
	for _, w := range rec.Findings {
		if w.Severity == adif.Error {
			c.refuse(rec.Line, w.Field, w.Value, sentence(w.Msg, w.Mend))
			return
		}
	}
	c.refuse(rec.Line, "", "", "the record can't be used")
}

func sentence(msg, mend string) string {
	if mend == "" {
		return msg
	}
	return msg + "; mend: " + mend
}

func (c *content) addRecord(rec *adif.Record, seenFrom string) {
	added := false
	for _, s := range rec.Spots {
		if seenFrom == "receiver" && s.From != "RST_SENT" {
			continue
		}
		added = true
		snr := s.SNRdB
		c.rows = append(c.rows, row{
			line: rec.Line, at: s.Time, hasSeconds: s.HasSeconds, tx: s.Transmitter, rx: s.Receiver,
			txAt: place{locator: s.TransmitterLocator}, rxAt: place{locator: s.ReceiverLocator},
			band: s.Band, frequencyMHz: s.FrequencyMHz, snrDB: &snr, powerW: s.PowerW, mode: s.Mode, submode: s.Submode,
		})
	}
	if !added {
		why := rec.NoSpot
		if why == "" {
			why = "the listener gave no report"
		}
		c.rows = append(c.rows, row{line: rec.Line, at: rec.Time, hasSeconds: true, tx: rec.Call, rx: rec.Station, noReport: why})
	}
}
