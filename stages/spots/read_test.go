package spots

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func adi(fields ...string) string {
	var b strings.Builder
	for i := 0; i < len(fields); i += 2 {
		fmt.Fprintf(&b, "<%s:%d>%s", fields[i], len(fields[i+1]), fields[i+1])
	}
	return b.String() + "<EOR>\n"
}

// contact is a record of 12 September 2026 on 20m.
func contact(call, me string, more ...string) string {
	return adi(append([]string{"CALL", call, "STATION_CALLSIGN", me, "QSO_DATE", "20260912", "TIME_ON", "040015", "BAND", "20m", "MODE", "FT8"}, more...)...)
}

func TestADI(t *testing.T) {
	for _, c := range []struct {
		rule     string
		seenFrom string
		content  string
		rows     []string
		refused  []string
		notes    []string
	}{
		{"my log: RST_RCVD is how I was heard, RST_SENT how I heard", "me",
			contact("Q2AB", "Q1RDG", "RST_SENT", "-07", "RST_RCVD", "-12"),
			[]string{"1 Q2AB>Q1RDG 20m -7", "1 Q1RDG>Q2AB 20m -12"}, nil, nil},
		{"a listener's log: only what the listener gave counts", "receiver",
			contact("Q1RDG", "Q2AB", "RST_SENT", "-07", "RST_RCVD", "-12"),
			[]string{"1 Q1RDG>Q2AB 20m -7"}, nil, nil},
		{"a listener's log without what the listener gave has no report", "receiver",
			contact("Q1RDG", "Q2AB", "RST_RCVD", "-12"),
			[]string{"1 Q1RDG>Q2AB  NaN"}, nil, nil},
		{"other spellings of the own call stay as written until they are placed", "me",
			contact("Q2AB", "q1rdg/p", "RST_RCVD", "-12"),
			[]string{"1 Q1RDG/P>Q2AB 20m -12"}, nil, nil},
		{"a record without a report is read", "me", contact("Q2AB", "Q1RDG"), []string{"1 Q2AB>Q1RDG  NaN"}, nil, nil},
		{"a bad record goes to quarantine with line and reason, and the rest goes on", "me",
			contact("Q2AB", "Q1RDG", "RST_RCVD", "-12") + strings.Replace(contact("Q3AB", "Q1RDG", "RST_RCVD", "-12"), "20260912", "20260931", 1) + contact("Q4AB", "Q1RDG", "RST_RCVD", "-1"),
			[]string{"1 Q1RDG>Q2AB 20m -12", "3 Q1RDG>Q4AB 20m -1"},
			[]string{`2 QSO_DATE "20260931": QSO_DATE = "20260931" is not a day since 1930; mend: write YYYYMMDD, in UTC`}, nil},
		{"records on one line keep their order", "me",
			strings.ReplaceAll(contact("!", "Q1RDG")+contact("?", "Q1RDG")+contact("Q4AB", "Q1RDG", "RST_RCVD", "-1"), "\n", ""),
			[]string{"1 Q1RDG>Q4AB 20m -1"},
			[]string{`1 CALL "!": CALL = "!" is not a call`, `1 CALL "?": CALL = "?" is not a call`}, []string{"mostly_refused"}},
		{"doubts of one kind are one note", "me",
			contact("Q2AB", "Q1RDG", "RST_RCVD", "599") + contact("Q3AB", "Q1RDG", "RST_RCVD", "599"),
			[]string{"1 Q2AB>Q1RDG  NaN", "2 Q3AB>Q1RDG  NaN"}, nil, []string{"report_not_db"}},
		{"an empty file is no fault", "me", "", []string{}, nil, []string{"empty_file"}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			f := File{Format: "adif", SeenFrom: c.seenFrom}
			for _, packed := range []bool{false, true} {
				content := []byte(c.content)
				if packed {
					content = zipped(c.content) // gzip is known by its first bytes
				}
				res, err := read(t, f, content)
				require.NoError(t, err)
				require.Equal(t, c.rows, show(f, res))
				got := refusals(f, res)
				require.Len(t, got, len(c.refused))
				for i, want := range c.refused {
					require.True(t, strings.HasPrefix(got[i], want), got[i])
				}
				var codes []string
				for _, n := range res.Notes {
					codes = append(codes, n.Code)
				}
				require.Equal(t, c.notes, codes)
			}
		})
	}
}

// A file that is no such format stops the run with its name and the mend (section "bad input" of the manual).
func TestFilesRefusedAsAWhole(t *testing.T) {
	whole := contact("Q2AB", "Q1RDG", "RST_RCVD", "-12")
	for _, c := range []struct {
		what    string
		f       File
		content []byte
		says    []string
	}{
		{"web page", File{Format: "adif", SeenFrom: "me"}, []byte("<!DOCTYPE html><html>sorry</html>"), []string{"web page", "mend: download"}},
		{"ADX", File{Format: "adif", SeenFrom: "me"}, []byte(`<?xml version="1.0"?><ADX><RECORDS/></ADX>`), []string{"XML", "mend: export the log as ADI"}},
		{"cut gzip", File{Format: "adif", SeenFrom: "me"}, zipped(strings.Repeat(whole, 50))[:60], []string{"gzip file is cut", "mend: "}},
		{"cut gzip table", File{Format: "table", Form: form()}, zipped("when,tx,rx,db,band\n" + strings.Repeat("2026-09-12T04:00:00Z,Q1RDG,Q2AB,-3,20m\n", 500))[:60], []string{"gzip file is cut"}},
		{"web page as table", File{Format: "table", Form: form()}, []byte("<!DOCTYPE html>\n<html>,sorry</html>"), []string{"the file is a web page, not delimited text\n    mend: download the data again"}},
		{"UTF-16", File{Format: "table", Form: form()}, []byte("\xff\xfew\x00h\x00e\x00n\x00"), []string{"the file is UTF-16, not delimited text\n    mend: save it as UTF-8"}},
		{"format", File{Format: "parquet"}, []byte("PAR1"), []string{`the format "parquet" can't be read`, "mend: give ADI text"}},
		{"missing columns, all at once, with the header listed", File{Format: "table", Form: form()}, []byte("when,tx,rx,dB\n"),
			[]string{`column "db" is not in the header ("when", "tx", "rx", "dB")`, `column "band" is not in the header`, "let columns.snr_db name a column"}},
		{"another delimiter is one fault", File{Format: "table", Form: form()}, []byte("when;tx;rx;db;band\n"),
			[]string{"spots/file:1: the columns of the file are parted by \";\", not by \",\"\n    mend: in [[spots]], write delimiter = \";\""}},
		{"column twice", File{Format: "table", Form: form()}, []byte("when,tx,rx,db,band,db\n"), []string{`column "db" occurs twice in the header`}},
		{"layout", File{Format: "table", Form: Form{Columns: form().Columns, Delimiter: ',', Header: true, TimeLayout: "YYYY"}}, []byte("when,tx,rx,db,band\n"), []string{"it has no MM", "mend: correct time_layout"}},
	} {
		t.Run(c.what, func(t *testing.T) {
			_, err := read(t, c.f, c.content)
			require.Error(t, err)
			require.True(t, strings.HasPrefix(err.Error(), "spots/file"), err.Error())
			for _, s := range c.says {
				require.Contains(t, err.Error(), s)
			}
		})
	}
}

// form is a table with the columns when tx rx db band, and those added.
func form(more ...Column) Form {
	return Form{Delimiter: ',', Header: true, TimeLayout: "rfc3339", Columns: append([]Column{
		{Name: "time", Columns: []string{"when"}}, {Name: "transmitter", Columns: []string{"tx"}}, {Name: "receiver", Columns: []string{"rx"}},
		{Name: "snr_db", Columns: []string{"db"}}, {Name: "band", Columns: []string{"band"}}}, more...)}
}

func TestTables(t *testing.T) {
	const head, start = "when,tx,rx,db,band,x,y\n", "2026-09-12T04:00:00Z,Q1RDG,Q2AB,-3,20m,"
	column := func(name string, columns ...string) Column { return Column{Name: name, Columns: columns} }
	unit := func(name, unit string) Column { return Column{Name: name, Columns: []string{"x"}, Unit: unit} }
	noBand := func(c Column) Form { f := form(); f.Columns[4] = c; return f }
	layout := func(layout string, columns ...string) Form {
		f := form()
		f.TimeLayout, f.Columns[0] = layout, column("time", columns...)
		return f
	}
	for _, c := range []struct {
		rule    string
		form    Form
		content string
		columns []string
		rows    []string
		refused []string
	}{
		{"time transmitter receiver snr_db band", form(), head + start + ",\n", nil, []string{"2 Q1RDG>Q2AB 20m -3"}, nil},
		{"calls and bands in small letters", form(), head + "2026-09-12T04:00:00Z,q1rdg,q2ab/p,-3,20M,,\n", nil, []string{"2 Q1RDG>Q2AB/P 20m -3"}, nil},
		{"locators in one spelling", form(column("receiver_locator", "x"), column("transmitter_locator", "y")), head + start + "nn34AB,mn83KP\n",
			[]string{"receiver_locator", "transmitter_locator"}, []string{"2 Q1RDG>Q2AB 20m -3 NN34ab MN83kp"}, nil},
		{"locator ZZ99 goes to quarantine", form(column("receiver_locator", "x")), head + start + "ZZ99,\n", nil, []string{},
			[]string{`2 x "ZZ99": locator "ZZ99": the first pair is "ZZ", but goes from AA to RR`}},
		{"positions from two columns", form(column("receiver_position", "x", "y")), head + start + "-33.5,151.25\n",
			[]string{"receiver_latitude", "receiver_longitude"}, []string{"2 Q1RDG>Q2AB 20m -3 -33.5 151.25"}, nil},
		{"the date line has one number", form(column("transmitter_position", "x", "y")), head + start + "-0,180\n",
			[]string{"transmitter_latitude", "transmitter_longitude"}, []string{"2 Q1RDG>Q2AB 20m -3 0 -180"}, nil},
		{"no position is no fault", form(column("receiver_position", "x", "y")), head + start + " ,\n",
			[]string{"receiver_latitude"}, []string{"2 Q1RDG>Q2AB 20m -3 -"}, nil},
		{"half a position", form(column("receiver_position", "x", "y")), head + start + "12 30,\n", nil, []string{}, []string{`2 x+y "12 30": latitude "12 30"`}},
		{"position off the Earth", form(column("receiver_position", "x", "y")), head + start + "91,0\n", nil, []string{}, []string{`2 x+y "91 0": latitude 91, longitude 0 is no place`}},
		{"frequency in Hz", noBand(unit("frequency_mhz", "Hz")), head + start + "14075197,\n", []string{"frequency_mhz"}, []string{"2 Q1RDG>Q2AB 20m -3 14.075197"}, nil},
		{"frequency in kHz", noBand(unit("frequency_mhz", "kHz")), head + start + "28074.5,\n", []string{"frequency_mhz"}, []string{"2 Q1RDG>Q2AB 10m -3 28.0745"}, nil},
		{"frequency in MHz", noBand(unit("frequency_mhz", "")), head + start + "14.075,\n", []string{"frequency_mhz"}, []string{"2 Q1RDG>Q2AB 20m -3 14.075"}, nil},
		{"frequency in no band", noBand(unit("frequency_mhz", "")), head + start + "14075,\n", nil, []string{}, []string{`2 x "14075": the frequency 14075 MHz lies in no amateur band; check the unit`}},
		{"frequency in Hz, the unit forgotten", noBand(unit("frequency_mhz", "")), head + start + "14075202,\n", nil, []string{}, []string{`2 x "14075202": the frequency 14075202 MHz lies in no amateur band; check the unit`}},
		{"frequency against band", form(unit("frequency_mhz", "")), head + start + "28.075,\n", nil, []string{}, []string{`2 x "28.075": the frequency 28.075 MHz lies in 10m, not in 20m`}},
		{"neither band nor frequency", noBand(unit("frequency_mhz", "")), head + start + ",\n", nil, []string{}, []string{`2 - "-": the row tells neither band nor frequency`}},
		{"power in mW", form(unit("power_w", "mW")), head + start + "200,\n", []string{"power_w"}, []string{"2 Q1RDG>Q2AB 20m -3 0.2"}, nil},
		{"power in dBm", form(unit("power_w", "dBm")), head + start + "37,\n", []string{"power_w"}, []string{"2 Q1RDG>Q2AB 20m -3 5.01187233627"}, nil},
		{"mode, submode and slot_s", form(column("mode", "x"), column("submode", "y"), Column{Name: "slot_s", Value: text("7.5")}), head + start + "mfsk,ft4\n",
			[]string{"mode", "submode", "slot_s"}, []string{"2 Q1RDG>Q2AB 20m -3 MFSK FT4 7.5"}, nil},
		{"one value for every row", form(Column{Name: "mode", Value: text("FT8")}), head + start + ",\n", []string{"mode"}, []string{"2 Q1RDG>Q2AB 20m -3 FT8"}, nil},
		{"slot_s is a length", form(column("slot_s", "x")), head + start + "0,\n", nil, []string{}, []string{`2 x "0": 0 s is not the length of a slot`}},
		{"header = false: numbers", Form{Delimiter: ',', TimeLayout: "rfc3339", Columns: []Column{column("time", "1"), column("transmitter", "2"), column("receiver", "3"), column("snr_db", "4"), column("band", "5")}},
			start + ",\n", nil, []string{"1 Q1RDG>Q2AB 20m -3"}, nil},
		{"a ragged row costs itself alone", form(), head + start + "\n" + start + ",\n", nil, []string{"3 Q1RDG>Q2AB 20m -3"}, []string{`2 - "-": the row has 6 fields, and the header has 7 fields`}},
		{"a quoted line break", form(column("mode", "x")), head + start + "\"F\nT8\",\n" + start + ",\n", []string{"mode"}, []string{"2 Q1RDG>Q2AB 20m -3 F\nT8", "4 Q1RDG>Q2AB 20m -3 "}, nil},
		{"delimiter tab", Form{Delimiter: '\t', Header: true, TimeLayout: "rfc3339", Columns: form().Columns}, strings.ReplaceAll(head+start+",\n", ",", "\t"), nil, []string{"2 Q1RDG>Q2AB 20m -3"}, nil},
		{"empty cells that may not be", form(), head + ",,Q2AB,-3,20m,,\n", nil, []string{}, []string{`2 when "-": the cell is empty; also at fault: tx`}},
		{"a decimal comma", form(), head + "2026-09-12T04:00:00Z,Q1RDG,Q2AB,\"-3,5\",20m,,\n", nil, []string{}, []string{`2 db "-3,5": "-3,5" has a decimal comma: write -3.5`}},
		{"no call", form(), head + "2026-09-12T04:00:00Z,Q1RDG//P,q2\u0131b,-3,20m,,\n", nil, []string{}, []string{`2 tx "Q1RDG//P": "Q1RDG//P" is not a call sign`}},
		{"no band", form(), head + "2026-09-12T04:00:00Z,Q1RDG,Q2AB,-3,20,,\n", nil, []string{}, []string{`2 band "20": "20" is not a band`}},
		{"a mode as long as a novel", form(column("mode", "x")), head + start + strings.Repeat("m", 5000) + ",\n", nil, []string{}, []string{`2 x "` + strings.Repeat("m", 60) + `..."`}},
		{"time: an offset", layout("rfc3339", "when"), head + strings.Replace(start, "Z", "+05:30", 1) + ",\n", []string{"time"}, []string{"2 Q1RDG>Q2AB 20m -3 2026-09-11T22:30:00Z"}, nil},
		{"time: no zone", layout("rfc3339", "when"), head + strings.Replace(start, "Z", "", 1) + ",\n", nil, []string{}, []string{`2 when "2026-09-12T04:00:00": "2026-09-12T04:00:00" has no time zone`}},
		{"time: unix", layout("unix", "x"), head + start + "1789185600.5,\n", []string{"time"}, []string{"2 Q1RDG>Q2AB 20m -3 2026-09-12T04:00:00.5Z"}, nil},
		{"time: unix_ms", layout("unix_ms", "x"), head + start + "1789185600500,\n", []string{"time"}, []string{"2 Q1RDG>Q2AB 20m -3 2026-09-12T04:00:00.5Z"}, nil},
		{"time: two columns", layout("DD.MM.YYYY hh:mm:ss", "x", "y"), head + start + "12.09.2026,04:00:15\n", []string{"time", "has_seconds"}, []string{"2 Q1RDG>Q2AB 20m -3 2026-09-12T04:00:15Z true"}, nil},
		{"time: without seconds, on a leap day", layout("YYYY-MM-DD hh:mm", "x"), head + start + "2028-02-29 23:59,\n", []string{"time", "has_seconds"}, []string{"2 Q1RDG>Q2AB 20m -3 2028-02-29T23:59:00Z false"}, nil},
		{"time: no such day", layout("YYYY-MM-DD hh:mm", "x"), head + start + "2026-02-29 23:59,\n", nil, []string{}, []string{`2 x "2026-02-29 23:59": "2026-02-29 23:59" has the day 29 in a month of 28`}},
		{"time: two empty columns", layout("YYYYMMDD hhmmss", "x", "y"), head + start + ",\n", nil, []string{}, []string{`2 x+y "-": the cell is empty`}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			f := File{Format: "table", Form: c.form}
			res, err := read(t, f, []byte(c.content))
			require.NoError(t, err)
			require.Equal(t, c.rows, show(f, res, c.columns...))
			got := refusals(f, res)
			require.Len(t, got, len(c.refused), got)
			for i, want := range c.refused {
				require.True(t, strings.HasPrefix(got[i], want), got[i])
			}
		})
	}
}

func TestEmptyTableIsNoted(t *testing.T) {
	res, err := read(t, File{Format: "table", Form: form()}, []byte("\n\n"))
	require.NoError(t, err)
	require.Len(t, res.Notes, 1)
	require.Equal(t, "empty_file", res.Notes[0].Code)
}

// What was cut ends anywhere: within a row more often than not.
func TestCutFilesAreNoted(t *testing.T) {
	const head, row = "when,tx,rx,db,band\n", "2026-09-12T04:00:00Z,Q1RDG,Q2AB,-3,20m\n"
	record := contact("Q2AB", "Q1RDG", "RST_RCVD", "-12")
	table, adi := File{Format: "table", Form: form()}, File{Format: "adif", SeenFrom: "me"}
	for _, c := range []struct {
		what    string
		f       File
		content string
		line    int // 0: no warning
	}{
		{"within a row", table, head + row + row[:30], 3},
		{"within a time", table, head + row + row[:7], 3},
		{"within quotes", table, head + row + `"2026-09`, 3},
		{"in the only row", table, head + row[:30], 2},
		{"whole, the last line without a line feed", table, head + row + row[:len(row)-1], 0},
		{"a bad row at the end of a whole file", table, head + row + "2026-\n", 0},
		{"a bad row before", table, head + "2026-\n" + row[:len(row)-1], 0},
		{"a header alone", table, head[:len(head)-1], 0},
		{"within a record", adi, record + record[:len(record)/2], 2},
		{"before the last mark", adi, record + record[:len(record)-len("<EOR>\n")], 2},
		{"a whole log", adi, record + record, 0},
	} {
		res, err := read(t, c.f, []byte(c.content))
		require.NoError(t, err, c.what)
		line := 0
		for _, n := range res.Notes {
			if n.Code == "cut_file" {
				line = n.Pos.Line
			}
		}
		require.Equal(t, c.line, line, c.what)
	}
}

func TestStagesOfFilesHaveTheirOwnNames(t *testing.T) {
	a, b := File{Name: "a.csv", Number: 0}, File{Name: "a.csv", Number: 1}
	require.NotEqual(t, a.Rows(), b.Rows(), "two tables of the experiment may name one file")
	require.NotEqual(t, Read(a, "").Name, Read(b, "").Name)
}

// Every record or row of a file is a row or a refusal, and no text brings the reader down.
func FuzzTable(f *testing.F) {
	f.Add([]byte("when,tx,rx,db,band\n2026-09-12T04:00:00Z,Q1RDG,Q2AB,-3,20m\n,,,,\n\"a\n"))
	f.Add([]byte("when,tx,rx,db,band\n\xff,\xc3,\xf5a,-3,\xf6\n\xff,\xc3,\xf5,-3,\xf6\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		spec := File{Format: "table", Form: form(Column{Name: "mode", Columns: []string{"band"}}, Column{Name: "receiver_position", Columns: []string{"db", "band"}})}
		res, err := read(t, spec, content)
		if err != nil {
			require.True(t, strings.HasPrefix(err.Error(), "spots/file"), err.Error())
			return
		}
		lines := strings.Count(string(content), "\n") + 1
		require.LessOrEqual(t, len(show(spec, res))+len(refusals(spec, res)), lines, "a line is told once")
	})
}

func FuzzADI(f *testing.F) {
	f.Add([]byte(contact("Q2AB", "Q1RDG", "RST_RCVD", "-12")), true)
	f.Add([]byte("<CALL:1>\xf5<EOR><CALL:1>\xf6<EOR><EOR>"), false)
	f.Fuzz(func(t *testing.T, content []byte, mine bool) {
		spec := File{Format: "adif", SeenFrom: "receiver"}
		if mine {
			spec.SeenFrom = "me"
		}
		res, err := read(t, spec, content)
		if err != nil {
			require.True(t, strings.HasPrefix(err.Error(), "spots/file"), err.Error())
			return
		}
		require.LessOrEqual(t, len(show(spec, res))+len(refusals(spec, res)), 2*(strings.Count(string(content), "<")+1), "a record gives two rows at most")
	})
}

// A file of nothing but bad rows is read to its end, costs about its own size, and says so once.
func TestHostileFiles(t *testing.T) {
	const n = 20_000
	for _, c := range []struct {
		f       File
		content string
	}{
		{File{Format: "table", Form: form()}, "when,tx,rx,db,band\n" + strings.Repeat("x,\xff"+strings.Repeat("y", 300)+",,,\n", n)},
		{File{Format: "table", Form: form()}, "when,tx,rx,db,band\n" + strings.Repeat(",\n", n)},
		{File{Format: "adif", SeenFrom: "me"}, "<CALL:2>..<EOR>" + strings.Repeat("<EOR>", n-1)},
	} {
		res, err := read(t, c.f, []byte(c.content))
		require.NoError(t, err)
		got := refusals(c.f, res)
		require.Len(t, got, n)
		require.Less(t, len(got[n-1]), 500)
		require.Len(t, res.Notes, 1)
		require.Contains(t, res.Notes[0].Msg, "20000 of 20000 rows can't be used; the first: ")
	}
}
