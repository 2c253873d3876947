package rehearsal

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"

	"fairlobe/experiments"
)

// row holds the cells of one row by the names on the left of columns: one each, two for a place or a time in two
// columns.
type row map[string][]string

// The names on the left of columns, in the order in which the columns are written.
var (
	spotNames = []string{"time", "transmitter", "transmitter_locator", "transmitter_position", "receiver", "receiver_locator",
		"receiver_position", "band", "frequency_mhz", "snr_db", "power_w", "mode", "submode", "slot_s"}
	sweepNames = []string{"frequency_mhz", "swr", "return_loss_db", "r_ohm", "x_ohm"}
)

// writeTable writes rows as the delimited text that a form declares; a cell that needs it is quoted as RFC 4180 says.
// A value that the form gives for every row stands in no column. Where two names share a column, the first has it.
func writeTable(f experiments.TableForm, names []string, rows []row) ([]byte, error) {
	at, heads := layOut(f, names)
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	if f.Delimiter != 0 {
		w.Comma = rune(f.Delimiter)
	}
	if f.Header {
		if err := w.Write(heads); err != nil {
			return nil, fmt.Errorf("writing the header of a table: %w", err)
		}
	}
	for _, r := range rows {
		line := make([]string, len(heads))
		for i, c := range at {
			if i < len(line) && c.name != "" {
				line[i] = c.of(r)
			}
		}
		if err := w.Write(line); err != nil {
			return nil, fmt.Errorf("writing a row of a table: %w", err)
		}
	}
	w.Flush()
	return out.Bytes(), w.Error()
}

// source tells which cell of a row stands in a column; an empty name is a column of no meaning.
type source struct {
	name string
	part int
}

func (s source) of(r row) string {
	if cells := r[s.name]; s.part < len(cells) {
		return cells[s.part]
	}
	return ""
}

// layOut gives what stands in each column, and the names of the columns. Columns that are known by their number stand
// at it; those between them have no meaning.
func layOut(f experiments.TableForm, names []string) (at []source, heads []string) {
	for _, name := range names {
		for part, column := range f.Columns[name].Columns {
			if n, err := strconv.Atoi(column); err == nil && !f.Header {
				for len(at) < n {
					at, heads = append(at, source{}), append(heads, "")
				}
				if at[n-1].name == "" {
					at[n-1] = source{name, part}
				}
				continue
			}
			if !slices.Contains(heads, column) {
				at, heads = append(at, source{name, part}), append(heads, column)
			}
		}
	}
	return at, heads
}
