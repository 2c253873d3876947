package spots

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/delimited"
)

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

// Rows is the name of the output that holds the file's typed rows.
func (f File) Rows() string { return "rows_" + f.id() }

// Refused is the name of the output that holds the file's refused rows.
func (f File) Refused() string { return "refused_" + f.id() }

// Read makes the stage that reads one file, found at path.
func Read(f File, path string) pipeline.Stage {
	return pipeline.Stage{
		Name:    "read_" + f.id(),
		Version: 3,
		Sources: []pipeline.Source{{Name: f.Name, Path: path}},
		Params:  f,
		Makes:   []pipeline.Output{{Name: f.Rows(), Schema: rowsSchema()}, {Name: f.Refused(), Schema: datasets.Quarantine()}},
		Run: func(ctx context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			c := newContent(f.Name)
			if err := f.read(in, c); err != nil {
				return nil, err
			}
			return c.result(f), nil
		},
	}
}

func (f File) read(in *pipeline.Input, c *content) error {
	src, err := in.Open(f.Name)
	if err != nil {
		return err
	}
	defer src.Close()
	plain, err := delimited.Gunzip(src, delimited.MaxUnpackedBytes)
	if err != nil {
		return f.fault(0, err.Error(), "fetch or pack the file again")
	}
	switch f.Format {
	case "adif":
		return f.readADI(plain, c)
	case "table":
		return f.readTable(plain, c)
	}
	return f.fault(0, fmt.Sprintf("spots in the format %q can't be read by this version", f.Format),
		`give ADI text with format = "adif", or delimited text with format = "table"`)
}

// fault is a finding about the whole file: nothing of it can be used.
func (f File) fault(line int, msg, mend string) error {
	return diag.List{{Pos: diag.Pos{File: f.Name, Line: line}, Msg: msg, Mend: mend}}
}

// content is what was found in one file. Rows and refusals are added in the order of their lines.
type content struct {
	file    string
	rows    *table.Builder
	refused *table.Builder
	first   *refusal
	pending []refusal // those of the last line: a file without line breaks has all of them there
	notes   diag.List

	refusedLast int // line of the last refusal
}

func newContent(file string) *content {
	return &content{file: file, rows: table.NewBuilder(rowsSchema()), refused: table.NewBuilder(datasets.Quarantine())}
}

// refusal is a row that can't be used.
type refusal struct {
	line          int
	column, value string
	reason        string
}

// refuse keeps a refused row. Its texts are cut and made UTF-8 here, so that they sort as they will stand in the table
// and a file of nothing but long cells does not fill the memory.
func (c *content) refuse(line int, column, value, reason string) {
	c.refusedLast = line
	r := refusal{line, clean(column, maxShown), clean(value, maxShown), clean(reason, maxReason)}
	if c.first == nil {
		c.first = &r
	}
	if len(c.pending) > 0 && c.pending[0].line != line {
		c.flush()
	}
	c.pending = append(c.pending, r)
}

// cutAt warns of a file that ends within a row: a row is lost, and nobody knows how many behind it.
func (c *content) cutAt(line int) {
	c.notes = append(c.notes, diag.Diag{Pos: diag.Pos{File: c.file, Line: line}, Severity: diag.Warning, Code: "cut_file",
		Msg:  "the file ends within a row, as one does that was cut: reports that are missing behind it count as not heard",
		Mend: "fetch or export the file again"})
}

// flush brings the refusals of one line into the order of the table.
func (c *content) flush() {
	slices.SortStableFunc(c.pending, refusal.compare)
	for _, r := range c.pending {
		c.refused.Append(c.file, r.line, toldText(r.column), toldText(r.value), r.reason)
	}
	c.pending = c.pending[:0]
}

// How many bytes of a text at fault, and of the reason, are kept.
const (
	maxShown  = 60
	maxReason = 400
)

// clean gives a copy of a text as UTF-8, cut to a readable length.
func clean(s string, most int) string {
	if len(s) > most {
		cut := most
		for cut > most-utf8.UTFMax && !utf8.RuneStart(s[cut]) {
			cut--
		}
		s = s[:cut] + "..."
	}
	return strings.Clone(strings.ToValidUTF8(s, "\uFFFD"))
}

func (r refusal) compare(o refusal) int {
	return cmp.Or(cmp.Compare(r.line, o.line), cmp.Compare(r.column, o.column), cmp.Compare(r.reason, o.reason), cmp.Compare(r.value, o.value))
}

func (c *content) result(f File) *pipeline.Result {
	c.flush()
	if rows, n := c.rows.Len(), c.refused.Len(); n > rows {
		c.notes = append(c.notes, diag.Diag{Pos: diag.Pos{File: c.file, Line: c.first.line}, Severity: diag.Warning, Code: "mostly_refused",
			Msg:  fmt.Sprintf("%d of %d rows can't be used; the first: %s", n, n+rows, c.first.reason),
			Mend: "see table quarantine for all of them, and the names, units and layouts in [[spots]]"})
	}
	return &pipeline.Result{
		Tables: map[string]arrow.Record{f.Rows(): c.rows.Record(), f.Refused(): c.refused.Record()},
		Notes:  c.notes.Sort(),
	}
}
