package delimited

import (
	"fmt"
	"io"
	"strings"
)

// careful reads a record whose first line, of the given length, holds a quote. On a fault only that line is passed
// over.
func (d *Reader) careful(first int) (Row, error) {
	w := &d.win
	row := Row{Line: w.line}
	length, reason, err := d.record()
	switch {
	case err != nil:
		return Row{}, err
	case reason != "":
		w.advance(first)
		return Row{}, &RowError{row.Line, reason}
	}
	w.line += strings.Count(w.text[w.pos:w.pos+length], "\n")
	if w.text[w.pos+length-1] != '\n' {
		w.line++
	}
	w.pos += length
	row.Fields = d.fields
	return row, nil
}

// record reads the fields of the record at the window's start into d.fields and gives its length with the line end.
// A reason says why it can't be read.
func (d *Reader) record() (length int, reason string, err error) {
	d.fields = d.fields[:0]
	at := 0
	for {
		if len(d.fields) == MaxColumns {
			return 0, columnsReason, nil
		}
		var field string
		if strings.HasPrefix(d.win.text[d.win.pos+at:], `"`) {
			field, at, reason, err = d.inQuotes(at + 1)
		} else {
			field, at, reason, err = d.bare(at)
		}
		if err != nil || reason != "" {
			return 0, reason, err
		}
		if d.win.nul && strings.IndexByte(field, 0) >= 0 {
			return 0, nulReason, nil
		}
		d.fields = append(d.fields, field)
		next, ended, ok := d.after(at)
		if !ok {
			return 0, fmt.Sprintf("text follows the closing quote of field %d: double the quotes inside a quoted field", len(d.fields)), nil
		}
		if at = next; ended {
			return at, "", nil
		}
	}
}

// after looks at what ends a field: a delimiter, the end of the line, or the end of the text.
func (d *Reader) after(at int) (next int, ended, ok bool) {
	rest := d.win.text[d.win.pos+at:]
	switch {
	case rest == "" || rest == "\r":
		return at + len(rest), true, true
	case rest[0] == d.opt.Delimiter:
		return at + 1, false, true
	case rest[0] == '\n':
		return at + 1, true, true
	case strings.HasPrefix(rest, "\r\n"):
		return at + 2, true, true
	}
	return 0, false, false
}

// bare reads a field without quotes around it, up to the delimiter or the end of the line.
func (d *Reader) bare(at int) (field string, next int, reason string, err error) {
	rest, reason, err := d.lineFrom(at)
	if err != nil || reason != "" {
		return "", 0, reason, err
	}
	if i := strings.IndexByte(rest, d.opt.Delimiter); i >= 0 {
		rest = rest[:i]
	}
	if strings.IndexByte(rest, '"') >= 0 {
		return "", 0, fmt.Sprintf("a quote stands inside field %d, which does not begin with one: quote the whole field and double the quotes inside", len(d.fields)+1), nil
	}
	return rest, at + len(rest), "", nil
}

// lineFrom gives the rest of a line, without its end. The line may be a later one of the record, and not yet read.
func (d *Reader) lineFrom(at int) (rest, reason string, err error) {
	w := &d.win
	for {
		rest = w.text[w.pos+at:]
		if i := strings.IndexByte(rest, '\n'); i >= 0 {
			return strings.TrimSuffix(rest[:i], "\r"), tooLong(at + i), nil
		}
		if reason = tooLong(at + len(rest)); reason != "" {
			return "", reason, nil
		}
		if !w.fill() {
			break
		}
	}
	if w.err != io.EOF {
		return "", "", w.err
	}
	return strings.TrimSuffix(rest, "\r"), "", nil
}

// inQuotes reads a field from behind its opening quote to behind its closing one.
func (d *Reader) inQuotes(at int) (field string, next int, reason string, err error) {
	w := &d.win
	start, doubled := at, false
	for {
		rest := w.text[w.pos+at:]
		i := strings.IndexByte(rest, '"')
		if at > MaxLineBytes || i < 0 && at+len(rest) > MaxLineBytes {
			return "", 0, d.unclosed(fmt.Sprintf("within %d bytes", MaxLineBytes)), nil
		}
		// Up to two bytes behind the quote are looked at, CR and LF.
		if (i < 0 || i+3 > len(rest)) && w.fill() {
			continue
		}
		switch {
		case i < 0 && w.err != io.EOF:
			return "", 0, "", w.err
		case i < 0:
			return "", 0, d.unclosed("before the end of the file"), nil
		case strings.HasPrefix(rest[i+1:], `"`):
			doubled = true
			at += i + 2
			continue
		}
		field = w.text[w.pos+start : w.pos+at+i]
		if doubled {
			field = strings.ReplaceAll(field, `""`, `"`)
		}
		return field, at + i + 1, tooLong(at + i), nil
	}
}

func (d *Reader) unclosed(where string) string {
	return fmt.Sprintf("the quote that opens field %d is not closed %s: close it, or double it if it belongs to the text", len(d.fields)+1, where)
}

// tooLong gives the reason to refuse a record of a length, or "".
func tooLong(length int) string {
	if length > MaxLineBytes {
		return fmt.Sprintf("the record is longer than %d bytes", MaxLineBytes)
	}
	return ""
}
