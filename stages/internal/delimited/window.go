package delimited

import (
	"bytes"
	"fmt"
	"io"
	"strings"
)

// blockBytes is how much is read at once. Cells are pieces of the block, so that a row costs no copy of its own.
const blockBytes = 256 << 10

// window is the piece of the text that is in memory.
type window struct {
	r    io.Reader
	buf  []byte
	text string // not yet read: text[pos:]
	pos  int
	line int   // of text[pos], from 1
	err  error // of r, after text; io.EOF at the end of the file
	nul  bool  // a NUL byte has been seen
	open bool  // the last line was given, and it has no line feed
}

// fill reads one more block behind what is left. It is false if there is no more.
func (w *window) fill() bool {
	if w.err != nil {
		return false
	}
	if w.buf == nil {
		w.buf = make([]byte, blockBytes)
	}
	n := w.readBlock()
	w.nul = w.nul || bytes.IndexByte(w.buf[:n], 0) >= 0
	w.text = w.text[w.pos:] + string(w.buf[:n])
	w.pos = 0
	return n > 0
}

// readBlock fills the buffer as far as the text goes. Unlike io.ReadFull it keeps the end of the text and a text that
// was cut (io.ErrUnexpectedEOF from a reader below) apart.
func (w *window) readBlock() (n int) {
	const patience = 100 // as in package bufio
	for idle := 0; n < len(w.buf) && w.err == nil; {
		m, err := w.r.Read(w.buf[n:])
		n, w.err = n+m, err
		if idle++; m > 0 {
			idle = 0
		}
		if idle == patience {
			w.err = io.ErrNoProgress
		}
	}
	return n
}

// begin reads the first block and refuses what is no delimited text.
func (w *window) begin() error {
	w.fill()
	if w.err != nil && w.err != io.EOF && w.text == "" {
		return w.err
	}
	if what, mend := notText(w.text); what != "" {
		return &FileError{What: what, Mend: mend}
	}
	if strings.HasPrefix(w.text, "\ufeff") {
		w.pos = len("\ufeff")
	}
	return nil
}

// notText says what a file is instead of delimited text, by its first bytes; "" if it may be such text.
func notText(text string) (what, mend string) {
	head := text[:min(len(text), 4096)]
	start := strings.ToLower(strings.TrimLeft(strings.TrimPrefix(head, "\ufeff"), " \t\r\n"))
	switch {
	case strings.HasPrefix(head, "\xff\xfe"), strings.HasPrefix(head, "\xfe\xff"):
		return "is UTF-16", "save it as UTF-8"
	case strings.HasPrefix(head, "\x1f\x8b"):
		return "is compressed with gzip", "unpack it"
	case strings.HasPrefix(head, "PK\x03\x04"):
		return "is a zip archive or a spreadsheet", "unpack it, or save the sheet as CSV"
	case strings.IndexByte(head, 0) >= 0:
		return "holds NUL bytes, as UTF-16 and binary files do", "save it as text in UTF-8"
	case strings.HasPrefix(start, "<!doctype"), strings.HasPrefix(start, "<html"):
		return "is a web page", "download the data again; the page may say why they were not given"
	case strings.HasPrefix(start, "<?xml"):
		return "is XML", "export the data as CSV"
	}
	if i := strings.IndexAny(head, "\r\n"); i >= 0 && head[i] == '\r' && !strings.Contains(head, "\n") && i+1 < len(head) {
		return "has lines that end with a carriage return alone", "save it with LF or CR LF"
	}
	return "", ""
}

// next reads one record, whatever its number of fields. Blank lines are skipped.
func (d *Reader) next() (Row, error) {
	w := &d.win
	for {
		line, ok, err := w.physical()
		switch {
		case err != nil:
			return Row{}, err
		case !ok:
			reason := fmt.Sprintf("the line is longer than %d bytes", MaxLineBytes)
			at := w.line
			return Row{}, w.skipLong(&RowError{at, reason})
		case line == "\n" || line == "\r\n" || line == "\r":
			w.advance(len(line))
			continue
		case strings.IndexByte(line, '"') >= 0:
			return d.careful(len(line))
		}
		row := Row{Line: w.line}
		w.advance(len(line))
		return d.plain(row, line)
	}
}

// advance moves over one line.
func (w *window) advance(n int) {
	w.pos += n
	w.line++
}

// physical gives the next line with its line feed, without moving. It is not ok if the line is too long. The last
// line of a text that ends with an error is not given: it may be cut.
func (w *window) physical() (line string, ok bool, err error) {
	scanned := 0
	for {
		rest := w.text[w.pos:]
		if i := strings.IndexByte(rest[scanned:], '\n'); i >= 0 {
			n := scanned + i + 1
			return rest[:n], n <= MaxLineBytes, nil
		}
		if scanned = len(rest); scanned > MaxLineBytes {
			return "", false, nil
		}
		if !w.fill() {
			break
		}
	}
	if w.err != io.EOF {
		return "", false, w.err
	}
	if rest := w.text[w.pos:]; rest != "" {
		w.open = true
		return rest, true, nil
	}
	return "", false, io.EOF
}

// skipLong moves behind a line that is too long, a block at a time, and gives the row's error.
func (w *window) skipLong(row *RowError) error {
	for {
		if i := strings.IndexByte(w.text[w.pos:], '\n'); i >= 0 {
			w.advance(i + 1)
			return row
		}
		w.pos = len(w.text)
		if !w.fill() {
			return row
		}
	}
}

// plain splits a line without quotes.
func (d *Reader) plain(row Row, line string) (Row, error) {
	line = strings.TrimSuffix(line, "\n")
	line = strings.TrimSuffix(line, "\r")
	if d.win.nul && strings.IndexByte(line, 0) >= 0 {
		return Row{}, &RowError{row.Line, nulReason}
	}
	fields := d.fields[:0]
	for {
		i := strings.IndexByte(line, d.opt.Delimiter)
		if i < 0 {
			break
		}
		fields = append(fields, line[:i])
		line = line[i+1:]
		if len(fields) == MaxColumns {
			return Row{}, &RowError{row.Line, columnsReason}
		}
	}
	d.fields = append(fields, line)
	row.Fields = d.fields
	return row, nil
}

const nulReason = "the row holds a NUL byte: the file may be damaged from here on"

var columnsReason = fmt.Sprintf("the row has over %d columns", MaxColumns)
