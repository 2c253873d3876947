// Package delimited reads delimited text with named columns, and the numbers and times in its cells.
//
// The form is that of RFC 4180 (Shafranovich, 2005) with a choice of delimiter: one record a line, CR LF or LF; a
// field may stand in double quotes and then hold delimiters, line breaks and, doubled, quotes. The first record may
// be a header. Blank lines are skipped. A byte-order mark of UTF-8 is dropped. Bytes that are not valid UTF-8 are
// handed on as they are: names and calls are compared as bytes, and whoever shows them must escape them.
//
// A row that can't be read (wrong number of fields, broken quoting, over a limit) is a RowError with its line, and
// reading goes on with the line after the one on which that row began, so that one stray quote costs one row and not
// the file. A file that is no delimited text (UTF-16, binary, a web page) is refused as a whole.
//
// Cells are read strictly, with a decimal point: a decimal comma, a unit or a time without a zone is named and
// refused, never guessed at.
//
// The package knows no column's meaning, opens no files and reads no clock.
package delimited

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

const (
	// MaxLineBytes is the size of the longest record, with its quoted line breaks.
	MaxLineBytes = 1 << 20
	// MaxColumns is the number of fields a record may have.
	MaxColumns = 1000
)

// Options says how the text is written.
type Options struct {
	// Delimiter is ',' ';' '\t' or '|'.
	Delimiter byte
	// Header is true if the first record names the columns.
	Header bool
}

// Row is one record. Fields are valid until the next call of Next; the strings stay valid, but hold a piece of the
// file in memory, so clone those that are kept for long.
type Row struct {
	// Line is the line on which the record begins, from 1.
	Line   int
	Fields []string
}

// RowError is a record that can't be read. Reading may go on.
type RowError struct {
	// Line is the line on which the record begins, from 1.
	Line   int
	Reason string
}

// Error gives "line 7: " and the reason.
func (e *RowError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Reason) }

// FileError is a file that is no delimited text.
type FileError struct {
	// What says what it is instead: "is UTF-16".
	What string
	// Mend says what makes delimited text of it.
	Mend string
}

// Error gives what the file is and the mend.
func (e *FileError) Error() string {
	return fmt.Sprintf("the file %s, not delimited text: %s", e.What, e.Mend)
}

// Reader reads records. It is for one goroutine.
type Reader struct {
	win    window
	opt    Options
	header []string
	width  int
	empty  bool
	fields []string
	// first is the first record of a file without a header, read early to know the number of columns.
	first    Row
	hasFirst bool
}

// Open looks at the start of the text and reads the header. What is no delimited text is a *FileError. An empty file,
// also one of blank lines only, is no error: Empty is then true, Header is nil and Next gives io.EOF.
func Open(r io.Reader, opt Options) (*Reader, error) {
	if !strings.ContainsRune(",;\t|", rune(opt.Delimiter)) || opt.Delimiter == 0 {
		return nil, fmt.Errorf(`delimiter %q is not one of "," ";" "\t" "|"`, string(rune(opt.Delimiter)))
	}
	d := &Reader{win: window{r: r, line: 1}, opt: opt}
	if err := d.win.begin(); err != nil {
		return nil, err
	}
	row, err := d.next()
	switch {
	case err == io.EOF:
		d.empty = true
		return d, nil
	case err != nil && opt.Header:
		return nil, fmt.Errorf("reading the header: %w", err)
	case opt.Header:
		d.header = make([]string, len(row.Fields))
		for i, name := range row.Fields {
			d.header[i] = strings.Clone(strings.TrimSpace(name))
		}
		d.width = len(d.header)
	default:
		return d, d.openBare(row, err)
	}
	return d, nil
}

// openBare takes the first record of a file without a header: it tells the number of columns.
func (d *Reader) openBare(row Row, err error) error {
	if err != nil {
		return fmt.Errorf("reading the first row, which tells the number of columns: %w", err)
	}
	d.width = len(row.Fields)
	d.first, d.hasFirst = Row{Line: row.Line, Fields: slices.Clone(row.Fields)}, true
	return nil
}

// Empty tells whether the file has no record at all, not even a header.
func (d *Reader) Empty() bool { return d.empty }

// Header gives the names of the columns without the blanks around them; nil for an empty file or one without a header.
func (d *Reader) Header() []string { return d.header }

// Columns gives the number of fields that each row must have; 0 for an empty file.
func (d *Reader) Columns() int { return d.width }

// Unended tells, at the end, whether the last line has no line feed, as in a file that was cut.
func (d *Reader) Unended() bool { return d.win.open }

// Next gives the next row, a *RowError for one that can't be read, io.EOF at the end, or the error of the reader below.
func (d *Reader) Next() (Row, error) {
	if d.hasFirst {
		d.hasFirst = false
		return d.first, nil
	}
	if d.empty {
		return Row{}, io.EOF
	}
	row, err := d.next()
	if err == nil && len(row.Fields) != d.width {
		return Row{}, &RowError{row.Line, d.ragged(len(row.Fields))}
	}
	return row, err
}

func (d *Reader) ragged(n int) string {
	what := "the first row"
	if d.opt.Header {
		what = "the header"
	}
	return fmt.Sprintf("the row has %s, and %s has %s: write every field, and quote one that holds %q",
		count(n, "field"), what, count(d.width, "field"), string(rune(d.opt.Delimiter)))
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// Column gives the index in Row.Fields of a column: by its name, which must match exactly after trimming, or, without
// a header, by its number from 1.
func (d *Reader) Column(name string) (int, error) {
	if d.empty {
		return 0, errors.New("the file is empty and has no columns")
	}
	if !d.opt.Header {
		return d.numbered(name)
	}
	name = strings.TrimSpace(name)
	at := slices.Index(d.header, name)
	if at < 0 {
		return 0, d.noColumn(name)
	}
	if slices.Contains(d.header[at+1:], name) {
		return 0, fmt.Errorf("column %q occurs twice in the header (%s): give each column a name of its own", name, d.list())
	}
	return at, nil
}

func (d *Reader) numbered(name string) (int, error) {
	n, err := strconv.Atoi(strings.TrimSpace(name))
	if err != nil {
		return 0, fmt.Errorf("column %q is not a number: without a header columns are numbers from 1 to %d", name, d.width)
	}
	if n < 1 || n > d.width {
		return 0, fmt.Errorf("column %d is not there: the file has columns 1 to %d", n, d.width)
	}
	return n - 1, nil
}

func (d *Reader) noColumn(name string) error {
	msg := fmt.Sprintf("column %q is not in the header (%s)", name, d.list())
	if near := nearest(name, d.header); near != "" {
		return fmt.Errorf("%s: did you mean %q", msg, near)
	}
	return errors.New(msg)
}

// OtherDelimiter gives the delimiter with which the header seems to be written, if it holds none of the one asked for: the
// whole header is then one column.
func (d *Reader) OtherDelimiter() (rune, bool) {
	if len(d.header) != 1 {
		return 0, false
	}
	for _, other := range ",;\t|" {
		if strings.ContainsRune(d.header[0], other) {
			return other, true
		}
	}
	return 0, false
}

// list gives the header for a message, cut to a readable length.
func (d *Reader) list() string {
	const most = 40
	names := make([]string, 0, most+1)
	for i, name := range d.header {
		if i == most {
			names = append(names, fmt.Sprintf("and %d more", len(d.header)-most))
			break
		}
		names = append(names, quoted(name))
	}
	return strings.Join(names, ", ")
}

// quoted gives a text in quotes, cut to a readable length and with what can't be shown escaped.
func quoted(s string) string {
	const most = 60
	if len(s) <= most {
		return strconv.Quote(s)
	}
	cut := most
	for cut > most-utf8.UTFMax && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return strconv.Quote(s[:cut]) + "..."
}

// nearest gives the name that differs least from a wrong one, or "" if none is near. Case counts little.
func nearest(name string, names []string) string {
	best, least := "", 1+max(1, len(name)/3)
	for _, n := range names {
		if d := distance(strings.ToLower(name), strings.ToLower(n)); n != "" && d < least {
			best, least = n, d
		}
	}
	return best
}

// distance counts the insertions, deletions and changes of a byte that lead from a to b. Levenshtein (1966), by the
// row-wise recurrence. Long names are told apart by their length alone.
func distance(a, b string) int {
	const long = 64
	if len(a) > long || len(b) > long {
		return max(len(a), len(b))
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}
