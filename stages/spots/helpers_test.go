package spots

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
)

// check holds a stage's tables against what the pipeline will ask of them.
func check(t require.TestingT, stage pipeline.Stage, res *pipeline.Result) {
	for _, o := range stage.Makes {
		if o.Schema != nil {
			require.NoError(t, table.Validate(res.Tables[o.Name], o.Schema), o.Name)
			require.NoError(t, table.CheckSorted(res.Tables[o.Name], table.SortKeys(o.Schema)), o.Name)
		}
	}
}

// read runs a reading stage over a file with that content.
func read(t testing.TB, f File, content []byte) (*pipeline.Result, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(path, content, 0o600))
	f.Name = "spots/file"
	stage := Read(f, path)
	res, err := stage.Run(context.Background(), pipeline.NewInput(context.Background(), memory.DefaultAllocator, nil, nil, stage.Sources...))
	if err == nil {
		check(t, stage, res)
	}
	return res, err
}

// show gives rows as text: line transmitter>receiver band snr, and what else the columns named hold.
func show(f File, res *pipeline.Result, columns ...string) []string {
	f.Name = "spots/file"
	out := []string{}
	rows := newRowTable(res.Tables[f.Rows()])
	for r := table.NewReader(res.Tables[f.Rows()]); r.Next(); {
		row := rows.row(r.Row())
		text := fmt.Sprintf("%d %s>%s %s %g", row.line, row.tx, row.rx, row.band, row.snrDB)
		for _, c := range columns {
			text += " " + cellText(r, c)
		}
		out = append(out, text)
	}
	return out
}

func cellText(r *table.Reader, column string) string {
	switch {
	case r.Null(column):
		return "-"
	case column == "time":
		return r.Time(column).Format(time.RFC3339Nano)
	case slices.Contains([]string{"mode", "submode", "no_report", "transmitter_locator", "receiver_locator"}, column):
		return r.Str(column)
	case column == "has_seconds":
		return fmt.Sprint(r.Bool(column))
	}
	return fmt.Sprintf("%g", r.Float(column))
}

// refusals gives refused rows as text: line column value: reason.
func refusals(f File, res *pipeline.Result) []string {
	f.Name = "spots/file"
	out := []string{}
	for r := table.NewReader(res.Tables[f.Refused()]); r.Next(); {
		column, value := "-", "-"
		if !r.Null("column") {
			column = r.Str("column")
		}
		if !r.Null("value") {
			value = r.Str("value")
		}
		out = append(out, fmt.Sprintf("%d %s %q: %s", r.Int("line"), column, value, r.Str("reason")))
	}
	return out
}

func zipped(text string) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write([]byte(text))
	_ = z.Close()
	return b.Bytes()
}

func text(s string) *string { return &s }

// day is the day of the trials in the tests.
var day = time.Date(2026, 9, 12, 0, 0, 0, 0, time.UTC)

// at reads "04:00:15" or "04:00:07.5" as a time of that day; "24:00:00" is the next one.
func at(clock string) time.Time {
	var h, m int
	var s float64
	if _, err := fmt.Sscanf(clock, "%d:%d:%g", &h, &m, &s); err != nil {
		panic(err)
	}
	return day.Add(time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s*1e9))
}

// plan is one row of table dwells.
type plan struct {
	session         int
	band            string
	block, position int
	arm             string
	start, settle   string
	end             string
	kept            bool
}

// twoBlocks: 20m low 04:00, high 04:10, then 10m; the last block was dropped.
var twoBlocks = []plan{
	{1, "20m", 1, 1, "low", "04:00:00", "04:00:30", "04:06:00", true},
	{1, "20m", 1, 2, "high", "04:10:00", "04:10:30", "04:16:00", true},
	{1, "10m", 1, 1, "high", "04:20:00", "04:20:30", "04:26:00", true},
	{1, "10m", 1, 2, "low", "04:30:00", "04:30:30", "04:36:00", true},
	{1, "20m", 2, 1, "high", "04:40:00", "04:40:30", "04:46:00", false},
	{1, "20m", 2, 2, "low", "04:50:00", "04:50:30", "04:56:00", false},
}

func dwellTable(plans []plan) arrow.Record {
	b := table.NewBuilder(datasets.Dwells())
	for _, p := range plans {
		var reason *string
		if !p.kept {
			reason = text("dropped: rain")
		}
		b.Append(p.session, p.band, p.block, p.position, p.arm, p.session, at(p.start), at(p.settle), at(p.end), 10, p.kept, reason, 0.0, true)
	}
	return b.Record()
}

// one is a row of this station's trial, heard by Q2AB at -10 dB.
func one(line int, clock string) row {
	r := emptyRow()
	r.line, r.at, r.hasSeconds = line, at(clock), true
	r.tx, r.rx, r.band, r.snrDB, r.mode = "Q1RDG", "Q2AB", "20m", -10, "FT8"
	return r
}

func with(r row, change func(*row)) row {
	change(&r)
	return r
}

func params() Params {
	return Params{Calls: []string{"Q1RDG", "Q1RDG/P"}, Bands: []string{"20m", "10m"}, Mode: "FT8", SlotMs: 15000, Sends: "even slots"}
}

// file is the rows of one file as the placing stage gets them.
type file struct {
	name       string
	timeIs     string
	background bool
	refused    int
	rows       []row
}

// outcome is what the placing stage made.
type outcome struct {
	res    *pipeline.Result
	intake account.Intake
}

// placeFiles runs the placing stage over files and dwells; rows read must be accounted for.
func placeFiles(t require.TestingT, p Params, dwells []plan, files ...file) (*outcome, error) {
	return placeIn(t, p, dwellTable(dwells), files...)
}

func placeIn(t require.TestingT, p Params, dwells arrow.Record, files ...file) (*outcome, error) {
	tables := map[string]arrow.Record{"dwells": dwells}
	slices.SortFunc(files, func(a, b file) int { return strings.Compare(a.name, b.name) })
	for n, f := range files {
		src := Source{Name: f.name, Rows: fmt.Sprintf("rows_%d", n), Refused: fmt.Sprintf("refused_%d", n), TimeIs: f.timeIs, Background: f.background}
		if src.TimeIs == "" {
			src.TimeIs = "slot start"
		}
		p.Files = append(p.Files, src)
		b := table.NewBuilder(rowsSchema())
		for i := range f.rows {
			appendRow(b, &f.rows[i])
		}
		tables[src.Rows] = b.Record()
		q := table.NewBuilder(datasets.Quarantine())
		for i := range f.refused {
			q.Append(f.name, i+1, nil, nil, "bad")
		}
		tables[src.Refused] = q.Record()
	}
	stage := Place(p)
	res, err := stage.Run(context.Background(), pipeline.NewInput(context.Background(), memory.DefaultAllocator, tables, nil))
	if err != nil {
		return nil, err
	}
	check(t, stage, res)
	out := &outcome{res: res}
	require.NoError(t, json.Unmarshal(res.Files[FileIntake], &out.intake))
	i := out.intake
	require.Equal(t, i.Read, i.Used+i.Merged+i.OutOfScope+i.Quarantined, "rows read are accounted for")
	return out, nil
}

// fates gives for each row of table spots, by line, its fate.
func (o *outcome) fates() map[int]string {
	out := map[int]string{}
	for r := table.NewReader(o.res.Tables[TableSpots]); r.Next(); {
		out[int(r.Int("line"))] = r.Str("fate")
	}
	return out
}

func (o *outcome) codes() []string {
	out := []string{}
	for _, n := range o.res.Notes {
		out = append(out, n.Code)
	}
	return out
}
