package sweeps

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/match"
)

// run reads files, given as content by number, into the stage's tables.
func run(t testing.TB, files []File, contents ...string) (*pipeline.Result, error) {
	t.Helper()
	dir := t.TempDir()
	var paths []string
	for i, f := range files {
		path := filepath.Join(dir, f.Name)
		require.NoError(t, os.WriteFile(path, []byte(contents[i]), 0o600))
		paths = append(paths, path)
	}
	stage := Stage(Params{Files: files}, paths)
	res, err := stage.Run(context.Background(), pipeline.NewInput(context.Background(), memory.DefaultAllocator, nil, nil, stage.Sources...))
	if err == nil {
		for _, o := range stage.Makes {
			require.NoError(t, table.Validate(res.Tables[o.Name], o.Schema))
			require.NoError(t, table.CheckSorted(res.Tables[o.Name], table.SortKeys(o.Schema)))
		}
	}
	return res, err
}

func columns(names ...string) []Column {
	var out []Column
	for _, n := range names {
		out = append(out, Column{Name: n, Columns: []string{n}})
	}
	return out
}

var all = columns("frequency_mhz", "r_ohm", "return_loss_db", "swr", "x_ohm")

func file(name string) File {
	return File{Name: name, Arm: "low", Plane: "radio", Format: "table", Columns: all, Delimiter: ',', Header: true}
}

func refusals(res *pipeline.Result) []string {
	out := []string{}
	for r := table.NewReader(res.Tables[TableRefused]); r.Next(); {
		column := "-"
		if !r.Null("column") {
			column = r.Str("column")
		}
		out = append(out, fmt.Sprintf("%d %s: %s", r.Int("line"), column, r.Str("reason")))
	}
	return out
}

func TestReadings(t *testing.T) {
	const head = "frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n"
	for _, c := range []struct {
		rule string
		row  string
		// swr, low, high, return loss, mismatch loss, each within 1e-3; NaN for null
		want    [5]float64
		refused string
	}{
		// A display rounds or cuts: 1.7 stands for 1.65 to 1.8. Return loss 20 log10((s+1)/(s-1)) (Pozar, section 2.3).
		{"SWR alone", "14.1,1.7,,,", [5]float64{1.7, 1.65, 1.8, 11.7254, 0.3022}, ""},
		{"return loss alone: 11.7 stands for 11.65 to 11.8", "14.1,,11.7,,", [5]float64{1.7029, 1.6916, 1.7087, 11.7, 0.3040}, ""},
		{"both: what they have in common", "14.1,1.7,11.7,,", [5]float64{1.7, 1.6916, 1.7087, 11.7, 0.3022}, ""},
		{"both, no contradiction by digits alone: 1.65 is 12.22 dB", "14.1,1.7,12.2,,", [5]float64{1.7, 1.65, 1.6556, 12.2, 0.3022}, ""},
		{"SWR against return loss", "14.1,1.50,20.0,,", [5]float64{}, "2 return_loss_db: an SWR of 1.50, a return loss of 20.0 dB can't all be right"},
		{"SWR of 1: no return loss", "14.1,1.0,,,", [5]float64{1, 1, 1.1, math.NaN(), 0}, ""},
		{"total reflection: no SWR; 0.0 stands for at most 0.1", "14.1,,0.0,,", [5]float64{math.NaN(), match.ReturnLossDBToSWR(0.1), math.NaN(), 0, math.NaN()}, ""},
		// 25 and 0 ohm stand for 24.5 to 26 and -1 to 1: from 50/26 to that of 24.5+1j.
		{"resistance and reactance", "14.1,,,25,0", [5]float64{2, 1.9231, 2.0417, 9.5424, 0.5115}, ""},
		{"a short: no SWR", "14.1,,,0,0", [5]float64{math.NaN(), 50, math.NaN(), 0, math.NaN()}, ""},
		{"impedance against SWR", "14.1,1.2,,25,0", [5]float64{}, "2 r_ohm: an SWR of 1.2, an impedance of 25 and 0 ohm can't all be right"},
		{"reactance alone is not enough", "14.1,,,,10", [5]float64{}, "2 -: the row shows neither SWR nor return loss nor"},
		{"nothing shown", "14.1,,,,", [5]float64{}, "2 -: the row shows neither SWR nor return loss nor"},
		{"SWR below 1", "14.1,0.9,,,", [5]float64{}, "2 swr: 0.9 is too small; it is at least 1"},
		{"negative return loss", "14.1,,-3,,", [5]float64{}, "2 return_loss_db: -3 is too small"},
		{"negative resistance", "14.1,,,-5,1", [5]float64{}, "2 r_ohm: -5 is too small"},
		{"reactance that is no number", "14.1,,,5,j3", [5]float64{}, `2 x_ohm: "j3" is not a number`},
		{"too large to be shown", "14.1,,,1e300,1", [5]float64{}, "2 r_ohm: 1e300 is too large"},
		{"no frequency", ",1.5,,,", [5]float64{}, `2 frequency_mhz: "" is empty`},
		{"a ragged row", "14.1,1.5", [5]float64{}, "2 -: the row has 2 fields"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			res, err := run(t, []File{file("a.csv")}, head+c.row+"\n14.2,2,,,\n")
			require.NoError(t, err)
			got := refusals(res)
			if c.refused != "" {
				require.Len(t, got, 1)
				require.True(t, strings.HasPrefix(got[0], c.refused), got[0])
				require.EqualValues(t, 1, res.Tables[TableSweeps].NumRows(), "the rest goes on")
				return
			}
			require.Empty(t, got)
			r := table.NewReader(res.Tables[TableSweeps])
			require.True(t, r.Next())
			for i, name := range []string{"swr", "swr_low", "swr_high", "return_loss_db", "mismatch_loss_db"} {
				if math.IsNaN(c.want[i]) {
					require.True(t, r.Null(name), name)
				} else {
					require.InDelta(t, c.want[i], r.Float(name), 1e-3, name)
				}
			}
			require.Equal(t, "low", r.Str("arm"))
			require.Equal(t, "radio", r.Str("plane"))
			require.EqualValues(t, 2, r.Int("line"))
		})
	}
}

func TestFormsOfTables(t *testing.T) {
	value := "14.1"
	f := file("a.csv")
	f.Columns = []Column{{Name: "frequency_mhz", Columns: []string{"f"}, Unit: "kHz"}, {Name: "swr", Columns: []string{"s"}}}
	g := file("b.csv")
	g.Columns, g.Header, g.Delimiter = []Column{{Name: "frequency_mhz", Value: &value}, {Name: "swr", Columns: []string{"2"}}}, false, ';'
	again := f
	again.Arm = "high" // one file may be named by two tables
	res, err := run(t, []File{f, again, g}, "f,s\n14200,1.5\n14100,2.0\nx,1\ny,1\n", "f,s\n14200,1.5\n14100,2.0\nx,1\ny,1\n", "a;1.1\n")
	require.NoError(t, err)
	var got []string
	for r := table.NewReader(res.Tables[TableSweeps]); r.Next(); {
		got = append(got, fmt.Sprintf("%s %s %g %g", r.Str("arm"), r.Str("sweep"), r.Float("frequency_mhz"), r.Float("swr")))
	}
	require.Equal(t, []string{"high a.csv 14.1 2", "high a.csv 14.2 1.5", "low a.csv 14.1 2", "low a.csv 14.2 1.5", "low b.csv 14.1 1.1"}, got)
	require.EqualValues(t, 4, res.Tables[TableRefused].NumRows())
}

func TestWholeFiles(t *testing.T) {
	other := file("a.csv")
	other.Format = "parquet"
	for _, c := range []struct {
		rule, content string
		f             File
		says          string
	}{
		{"another delimiter", "frequency_mhz;swr\n", file("a.csv"), `the columns of the file are parted by ";", not by ","`},
		{"a missing column lists the header", "frequency_mhz,SWR\n", file("a.csv"), `column "swr" is not in the header ("frequency_mhz", "SWR")`},
		{"a web page", "<!DOCTYPE html>\n", file("a.csv"), "is a web page, not delimited text\n    mend: download the data again"},
		{"a cut gzip file", "\x1f\x8b\x08\x00\x00\x00", file("a.csv"), "gzip file is cut"},
		{"a format that is not read", "PAR1", other, `the format "parquet" can't be read`},
	} {
		_, err := run(t, []File{c.f}, c.content)
		require.Error(t, err, c.rule)
		require.True(t, strings.HasPrefix(err.Error(), "a.csv"), err.Error())
		require.Contains(t, err.Error(), c.says, c.rule)
	}
	_, err := run(t, []File{file("a.csv"), file("b.csv")}, "x\n", "<!DOCTYPE html>\n")
	require.ErrorContains(t, err, "a.csv:1")
	require.ErrorContains(t, err, "b.csv:1", "all faults are told at once")

	res, err := run(t, []File{file("a.csv")}, "")
	require.NoError(t, err)
	require.Equal(t, "empty_file", res.Notes[0].Code)
	res, err = run(t, nil)
	require.NoError(t, err)
	require.Zero(t, res.Tables[TableSweeps].NumRows())
}

func FuzzSweeps(f *testing.F) {
	f.Add("frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n14.1,1.5,14.0,,\n,,,,\n\"\n")
	f.Add("frequency_mhz,swr,return_loss_db,r_ohm,x_ohm\n14.1,\xf5,,,\n14.1,1,1,1,1\n14.1,,,1e5,-1e5\n")
	f.Add("# MHz S RI R 50\n14 0.1 0\n14.1 1.1 0\n14.2 1 0\n")
	f.Fuzz(func(t *testing.T, content string) {
		for _, of := range []File{file("a.csv"), s1p("a.csv")} {
			of.Feedline = coax(50)
			res, err := run(t, []File{of}, content)
			if err != nil {
				require.True(t, strings.HasPrefix(err.Error(), "a.csv"), err.Error())
				continue
			}
			readings := res.Tables[TableSweeps].NumRows()
			require.Zero(t, readings%2, "each stands at both planes")
			rows := readings/2 + res.Tables[TableRefused].NumRows()
			require.LessOrEqual(t, rows, int64(strings.Count(content, "\n")+strings.Count(content, "\r")+1), "a line is told once")
		}
	})
}
