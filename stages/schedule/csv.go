package schedule

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule/rows"
)

// The columns of a schedule file, in order.
const (
	colSession = iota
	colBand
	colBlock
	colPosition
	colArm
	colStart
	colSettleEnd
	colEnd
)

// Header gives the column names of a schedule file.
func Header() []string {
	return []string{"session", "band", "block", "position", "arm", "start", "settle_end", "end"}
}

// WriteCSV writes the dwells in their order, quoted as in RFC 4180, with line feeds, times in UTC with Z.
func WriteCSV(w io.Writer, dwells []Dwell) error {
	out := csv.NewWriter(w)
	lines := [][]string{Header()}
	for _, d := range dwells {
		lines = append(lines, []string{
			strconv.Itoa(d.Session), d.Band, strconv.Itoa(d.Block), strconv.Itoa(d.Position), d.Arm,
			stamp(d.Start), stamp(d.SettleEnd), stamp(d.End),
		})
	}
	if err := out.WriteAll(lines); err != nil {
		return fmt.Errorf("writing the schedule: %w", err)
	}
	return nil
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// ReadCSV reads a schedule file: columns as in Header, sorted by start, no overlap; blocks count from 1
// without holes within session and band, positions from 1, and every block holds each arm equally often.
// An empty settle_end means start plus settleMs. The list holds every fault of the file with its place;
// with faults there are no dwells.
func ReadCSV(r io.Reader, file string, settleMs int64) ([]Dwell, diag.List) {
	table, list := rows.Read(r, file, Header())
	var out []Dwell
	var places []rows.Row
	for _, row := range table {
		d, faults := readDwell(row, time.Duration(settleMs)*time.Millisecond)
		list = append(list, faults...)
		if len(faults) == 0 {
			out, places = append(out, d), append(places, row)
		}
	}
	// The order of lines is judged only when all can be read: a hole left by a bad line is no second fault.
	if len(list) == 0 {
		list = checkOrder(out, places)
	}
	if len(list) == 0 && len(out) == 0 {
		list = diag.List{{
			Pos:  diag.Pos{File: file, Line: 1},
			Msg:  "the schedule has no dwell",
			Mend: "write one line for each dwell, for example 1,20m,1,1,low,2026-09-12T04:00:00Z,,2026-09-12T04:06:00Z",
		}}
	}
	if len(list) > 0 {
		return nil, rows.Cap(list.Sort(), file)
	}
	return out, nil
}

func readDwell(row rows.Row, settle time.Duration) (Dwell, diag.List) {
	var list diag.List
	keep := func(fault *diag.Diag) {
		if fault != nil {
			list = append(list, *fault)
		}
	}
	count := func(column int) int {
		n, fault := row.Count(column, Header()[column])
		keep(fault)
		return n
	}
	moment := func(column int) time.Time {
		t, fault := row.Time(column, Header()[column])
		keep(fault)
		return t
	}
	name := func(column int) string {
		if row.Value(column) == "" {
			keep(&diag.Diag{Pos: row.Pos(column), Msg: Header()[column] + " is empty", Mend: "name the " + Header()[column]})
		}
		return row.Value(column)
	}
	d := Dwell{
		Session: count(colSession), Band: name(colBand), Block: count(colBlock), Position: count(colPosition),
		Arm: name(colArm), Start: moment(colStart), End: moment(colEnd),
	}
	d.SettleEnd = d.Start.Add(settle)
	if row.Value(colSettleEnd) != "" {
		d.SettleEnd = moment(colSettleEnd)
	}
	if len(list) > 0 {
		return d, list
	}
	return d, checkTimes(d, row)
}

func checkTimes(d Dwell, row rows.Row) diag.List {
	switch {
	case !d.End.After(d.Start):
		return diag.List{{
			Pos:  row.Pos(colEnd),
			Msg:  fmt.Sprintf("the dwell ends at %s and starts at %s", stamp(d.End), stamp(d.Start)),
			Mend: "give the first moment at which the dwell is over",
		}}
	case d.End.Sub(d.Start) > dayMs*time.Millisecond:
		return diag.List{{
			Pos:  row.Pos(colEnd),
			Msg:  fmt.Sprintf("the dwell from %s to %s lasts longer than a day, the limit", stamp(d.Start), stamp(d.End)),
			Mend: "give the moment at which this dwell is over",
		}}
	case d.SettleEnd.Before(d.Start), !d.SettleEnd.Before(d.End):
		return diag.List{{
			Pos:  row.Pos(colSettleEnd),
			Msg:  fmt.Sprintf("settling ends at %s, outside the dwell from %s to %s", stamp(d.SettleEnd), stamp(d.Start), stamp(d.End)),
			Mend: "give a moment inside the dwell, or shorten settle_min if settle_end is empty",
		}}
	}
	return nil
}
