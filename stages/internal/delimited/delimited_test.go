package delimited

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// commas is the usual form.
var commas = Options{Delimiter: ',', Header: true}

// item is a row or a row error, for comparing.
type item struct {
	line   int
	fields []string // nil for an error
	reason string
}

// readAll reads everything; the error is nil at the end of the text.
func readAll(d *Reader) ([]item, error) {
	var items []item
	for {
		row, err := d.Next()
		var bad *RowError
		switch {
		case err == io.EOF:
			return items, nil
		case errors.As(err, &bad):
			items = append(items, item{line: bad.Line, reason: bad.Reason})
		case err != nil:
			return items, err
		default:
			items = append(items, item{line: row.Line, fields: append([]string{}, row.Fields...)})
		}
	}
}

func open(t testing.TB, text string, opt Options) *Reader {
	t.Helper()
	d, err := Open(strings.NewReader(text), opt)
	require.NoError(t, err)
	return d
}

// TestRows: RFC 4180 (Shafranovich, 2005), section 2, and what this reader does beyond it.
func TestRows(t *testing.T) {
	cases := []struct {
		name, text string
		want       []item
	}{
		{"plain", "a,b\n1,2\n3,4\n", []item{{2, []string{"1", "2"}, ""}, {3, []string{"3", "4"}, ""}}},
		{"rule 2: last line without an end", "a,b\n1,2", []item{{2, []string{"1", "2"}, ""}}},
		{"rule 1: CR LF", "a,b\r\n1,2\r\n\r\n3,\r\n", []item{{2, []string{"1", "2"}, ""}, {4, []string{"3", ""}, ""}}},
		{"rule 4: blanks belong to the field", "a,b\n 1 , 2\n", []item{{2, []string{" 1 ", " 2"}, ""}}},
		{"rule 5: quotes", "a,b\n\"1\",\"\"\n", []item{{2, []string{"1", ""}, ""}}},
		{"rule 6: line break and delimiter in quotes", "a,b\n\"1\r\n,x\",2\n3,4\n", []item{{2, []string{"1\r\n,x", "2"}, ""}, {4, []string{"3", "4"}, ""}}},
		{"rule 7: doubled quotes", "a,b\n\"say \"\"hi\"\"\",2\n", []item{{2, []string{`say "hi"`, "2"}, ""}}},
		{"quotes and CR LF", "a,b\r\n\"1\",\"2\"\r\n\"3\",4\r\n", []item{{2, []string{"1", "2"}, ""}, {3, []string{"3", "4"}, ""}}},
		{"quote at the very end", "a,b\n1,\"2\"", []item{{2, []string{"1", "2"}, ""}}},
		{"carriage return at the very end", "a,b\n1,\"2\"\r", []item{{2, []string{"1", "2"}, ""}}},
		{"byte-order mark", "\ufeffa,b\n1,2\n", []item{{2, []string{"1", "2"}, ""}}},
		{"Latin-1 bytes are kept", "a,b\nJ\xe4nner,2\n", []item{{2, []string{"J\xe4nner", "2"}, ""}}},
		{"too few", "a,b\n1\n3,4\n", []item{{2, nil, `the row has 1 field, and the header has 2 fields: write every field, and quote one that holds ","`}, {3, []string{"3", "4"}, ""}}},
		{"too many", "a,b\n1,2,3\n", []item{{2, nil, `the row has 3 fields, and the header has 2 fields: write every field, and quote one that holds ","`}}},
		{"quote inside", "a,b\n1\",2\n3,4\n", []item{{2, nil, "a quote stands inside field 1, which does not begin with one: quote the whole field and double the quotes inside"}, {3, []string{"3", "4"}, ""}}},
		{"text behind a quote", "a,b\n1,\"2\"x\n3,4\n", []item{{2, nil, "text follows the closing quote of field 2: double the quotes inside a quoted field"}, {3, []string{"3", "4"}, ""}}},
		{"quote never closed costs one row", "a,b\n\"1,2\n3,4\n5,6\n", []item{{2, nil, "the quote that opens field 1 is not closed before the end of the file: close it, or double it if it belongs to the text"},
			{3, []string{"3", "4"}, ""}, {4, []string{"5", "6"}, ""}}},
		{"NUL in a row", "a,b\n" + strings.Repeat("1,2\n", 1100) + "1,\x00\n", append(repeated(1100), item{1102, nil, nulReason})},
		{"NUL in a quoted row", "a,b\n" + strings.Repeat("1,2\n", 1100) + "1,\"\x00\"\n", append(repeated(1100), item{1102, nil, nulReason})},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := open(t, c.text, commas)
			assert.Equal(t, []string{"a", "b"}, d.Header())
			items, err := readAll(d)
			require.NoError(t, err)
			assert.Equal(t, c.want, items)

			slow, err := Open(iotest.OneByteReader(strings.NewReader(c.text)), commas)
			require.NoError(t, err)
			again, err := readAll(slow)
			require.NoError(t, err)
			assert.Equal(t, items, again, "the size of the pieces read does not matter")
		})
	}
}

func repeated(n int) []item {
	items := make([]item, n)
	for i := range items {
		items[i] = item{i + 2, []string{"1", "2"}, ""}
	}
	return items
}

func TestLimits(t *testing.T) {
	long := strings.Repeat("x", MaxLineBytes)
	cases := []struct {
		name, row, reason string
		extra             int // row errors of the lines behind
	}{
		{"line", long + ",1\n", "the line is longer than 1048576 bytes", 0},
		{"line over several blocks", strings.Repeat(long, 3) + "\n", "the line is longer than 1048576 bytes", 0},
		{"columns", strings.Repeat(",", MaxColumns) + "\n", "the row has over 1000 columns", 0},
		{"quoted columns", `""` + strings.Repeat(",", MaxColumns) + "\n", "the row has over 1000 columns", 0},
		{"quoted field over lines", "\"1\n" + long + "\n2\",3\n", "the record is longer than 1048576 bytes", 2},
		{"quoted field over blocks", "\"1\n" + long + "\n" + long + "\n", "the quote that opens field 1 is not closed within 1048576 bytes: close it, or double it if it belongs to the text", 2},
		{"field behind a quoted line break", "\"1\n2\"," + long + "\n", "the record is longer than 1048576 bytes", 1},
		{"doubled quotes without end", "\"1\n" + strings.Repeat(`""`, MaxLineBytes) + "\n", "the quote that opens field 1 is not closed within 1048576 bytes: close it, or double it if it belongs to the text", 1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			items, err := readAll(open(t, "a,b\n"+c.row+"3,4\n", commas))
			require.NoError(t, err)
			require.Equal(t, 2+c.extra, len(items)) // not Len: it would print the long rows
			assert.Equal(t, item{2, nil, c.reason}, items[0])
			assert.Equal(t, item{2 + strings.Count(c.row, "\n"), []string{"3", "4"}, ""}, items[1+c.extra])
		})
	}
	full := strings.Repeat("x", MaxLineBytes-3)
	items, err := readAll(open(t, "a,b\n"+full+",1\n", commas))
	require.NoError(t, err)
	assert.Equal(t, full, items[0].fields[0], "a line of the limit is read")
}

// TestAcrossBlocks: rows with quotes and line breaks that lie over the border of two blocks, at every offset.
func TestAcrossBlocks(t *testing.T) {
	const tail = "\"p\r\n\"\"q\"\"\",r\r\n\"s\n\",\"t\"\r\n"
	want := [][]string{{"p\r\n\"q\"", "r"}, {"s\n", "t"}}
	for shift := range len(tail) + 2 {
		pad := strings.Repeat("y", blockBytes-len("a,b\n,\n")-shift)
		items, err := readAll(open(t, "a,b\n"+pad+",\n"+tail, commas))
		require.NoError(t, err)
		require.Len(t, items, 3)
		assert.Equal(t, item{3, want[0], ""}, items[1])
		assert.Equal(t, item{5, want[1], ""}, items[2])
	}
}

func TestEmpty(t *testing.T) {
	for _, text := range []string{"", "\ufeff", "\n\r\n"} {
		for _, header := range []bool{true, false} {
			d := open(t, text, Options{Delimiter: ';', Header: header})
			assert.True(t, d.Empty())
			assert.Nil(t, d.Header())
			assert.Zero(t, d.Columns())
			_, err := d.Next()
			require.ErrorIs(t, err, io.EOF)
			_, err = d.Column("1")
			assert.EqualError(t, err, "the file is empty and has no columns")
		}
	}
	d := open(t, "a,b", commas)
	assert.False(t, d.Empty(), "a header alone is a table without rows")
	_, err := d.Next()
	require.ErrorIs(t, err, io.EOF)
}

func TestRefusedFiles(t *testing.T) {
	cases := []struct{ name, text, want string }{
		{"UTF-16 little-endian", "\xff\xfea\x00", "the file is UTF-16, not delimited text: save it as UTF-8"},
		{"UTF-16 big-endian", "\xfe\xff\x00a", "the file is UTF-16, not delimited text: save it as UTF-8"},
		{"UTF-16 without a mark", "a\x00,\x00", "holds NUL bytes"},
		{"web page", " \n<!DOCTYPE html>\n", "is a web page"},
		{"web page without a type", "\ufeff<HTML>", "is a web page"},
		{"XML", `<?xml version="1.0"?>`, "is XML"},
		{"gzip", "\x1f\x8b\x08", "compressed with gzip"},
		{"spreadsheet", "PK\x03\x04", "a spreadsheet"},
		{"old line ends", "a,b\r1,2\r", "carriage return alone"},
		{"header with a broken quote", "a,b\"\n1,2\n", "reading the header: line 1: a quote stands inside field 2"},
		{"header too wide", strings.Repeat(",", MaxColumns) + "\n", "reading the header: line 1: the row has over 1000 columns"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := Open(strings.NewReader(c.text), commas)
			assert.ErrorContains(t, err, c.want)
		})
	}
	_, err := Open(strings.NewReader("1\"\n"), Options{Delimiter: ','})
	assert.ErrorContains(t, err, "reading the first row, which tells the number of columns: line 1: ")
	_, err = Open(strings.NewReader(""), Options{})
	assert.ErrorContains(t, err, `delimiter "\x00" is not one of`)
	_, err = Open(strings.NewReader(""), Options{Delimiter: ':'})
	assert.ErrorContains(t, err, `delimiter ":" is not one of "," ";" "\t" "|"`)
}

func TestReaderErrors(t *testing.T) {
	broken := errors.New("disk gone")
	_, err := Open(iotest.ErrReader(broken), commas)
	require.ErrorIs(t, err, broken)
	for _, tail := range []string{"", "5,6", "\"5", "\"5\n6\",7"} {
		d, err := Open(io.MultiReader(strings.NewReader("a,b\n1,2\n"+tail), iotest.ErrReader(broken)), commas)
		require.NoError(t, err)
		items, err := readAll(d)
		require.ErrorIs(t, err, broken)
		assert.Equal(t, repeated(1), items, "a line that may be cut is not given")
	}
	d, err := Open(io.MultiReader(strings.NewReader("a,b\n1,2\n3"), iotest.ErrReader(io.ErrUnexpectedEOF)), commas)
	require.NoError(t, err)
	_, err = readAll(d)
	require.ErrorIs(t, err, io.ErrUnexpectedEOF, "the end of a cut stream is no end of file")
	_, err = Open(stuck{}, commas)
	require.ErrorIs(t, err, io.ErrNoProgress)
}

// stuck is a reader that gives nothing and no error.
type stuck struct{}

func (stuck) Read([]byte) (int, error) { return 0, nil }

func TestColumn(t *testing.T) {
	d := open(t, " when ,who sent,level,level\n", commas)
	assert.Equal(t, []string{"when", "who sent", "level", "level"}, d.Header())
	at, err := d.Column("when")
	require.NoError(t, err)
	assert.Equal(t, 0, at)
	at, err = d.Column(" who sent ")
	require.NoError(t, err)
	assert.Equal(t, 1, at)

	cases := []struct{ name, want string }{
		{"level", `column "level" occurs twice in the header ("when", "who sent", "level", "level"): give each column a name of its own`},
		{"When", `column "When" is not in the header ("when", "who sent", "level", "level"): did you mean "when"`},
		{"who_sent", `column "who_sent" is not in the header ("when", "who sent", "level", "level"): did you mean "who sent"`},
		{"frequency", `column "frequency" is not in the header ("when", "who sent", "level", "level")`},
	}
	for _, c := range cases {
		_, err := d.Column(c.name)
		assert.EqualError(t, err, c.want)
	}

	_, err = open(t, strings.Repeat("a,", 100)+strings.Repeat("ä", 40)+"\n", commas).Column("where")
	assert.ErrorContains(t, err, `"a", and 61 more)`)
}

func TestOtherDelimiter(t *testing.T) {
	for text, want := range map[string]string{"when;who\n": ";", "when\twho\n": "\t", "when|who\n": "|", "when\n": "", "when,who;whom\n": "", "": ""} {
		other, ok := open(t, text, commas).OtherDelimiter()
		assert.Equal(t, want != "", ok, "%q", text)
		if ok {
			assert.Equal(t, want, string(other), "%q", text)
		}
	}
	other, ok := open(t, "when,who\n", Options{Delimiter: ';', Header: true}).OtherDelimiter()
	assert.True(t, ok)
	assert.Equal(t, ',', other)
}

func TestColumnByNumber(t *testing.T) {
	d := open(t, "\n1;2\n3;4\n5\n", Options{Delimiter: ';'})
	assert.Equal(t, 2, d.Columns())
	at, err := d.Column("2")
	require.NoError(t, err)
	assert.Equal(t, 1, at)
	_, err = d.Column("3")
	assert.EqualError(t, err, "column 3 is not there: the file has columns 1 to 2")
	_, err = d.Column("0")
	require.Error(t, err)
	_, err = d.Column("when")
	assert.EqualError(t, err, `column "when" is not a number: without a header columns are numbers from 1 to 2`)
	items, err := readAll(d)
	require.NoError(t, err)
	assert.Equal(t, []item{{2, []string{"1", "2"}, ""}, {3, []string{"3", "4"}, ""},
		{4, nil, `the row has 1 field, and the first row has 2 fields: write every field, and quote one that holds ";"`}}, items)
}

// TestDistance: counts made by hand.
func TestDistance(t *testing.T) {
	cases := []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "abc", 0}, {"abc", "abd", 1}, {"abc", "bc", 1}, {"ab", "ba", 2}, {"snr_db", "snr", 3}, {strings.Repeat("a", 65), "a", 65}}
	for _, c := range cases {
		assert.Equal(t, c.want, distance(c.a, c.b), "%q %q", c.a, c.b)
		assert.Equal(t, c.want, distance(c.b, c.a), "%q %q", c.b, c.a)
	}
}

// TestWrittenRowsRoundTrip: what is written by the rules of RFC 4180 is read back, for every delimiter and line end.
func TestWrittenRowsRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		opt := Options{Delimiter: rapid.SampledFrom([]byte(",;\t|")).Draw(rt, "delimiter"), Header: true}
		end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(rt, "line end")
		width := rapid.IntRange(2, 5).Draw(rt, "width")
		cell := rapid.StringOfN(rapid.RuneFrom([]rune("ab,;\t|\"\r\n ä")), 0, 8, -1)
		rows := rapid.SliceOf(rapid.SliceOfN(cell, width, width)).Draw(rt, "rows")
		var b strings.Builder
		b.WriteString(strings.Repeat("h"+string(opt.Delimiter), width-1) + "h" + end)
		line := 2
		var want []item
		for _, r := range rows {
			quotedCells := make([]string, width)
			for i, c := range r {
				quotedCells[i] = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
			}
			text := strings.Join(quotedCells, string(opt.Delimiter)) + end
			b.WriteString(text)
			want = append(want, item{line, r, ""})
			line += strings.Count(text, "\n")
		}
		d, err := Open(strings.NewReader(b.String()), opt)
		require.NoError(rt, err)
		got, err := readAll(d)
		require.NoError(rt, err)
		require.Equal(rt, want, got)
	})
}

func FuzzReader(f *testing.F) {
	for _, seed := range []string{"a,b\r\n1,2\r\n", "a,b\n\"1\n\"\"2\",3\n\"x\n4,5", "\ufeffa;b\n\n1;2;3\n", "a\n\x00\n", "\"\"\n\"", "a,b\n1,\"2\"\r"} {
		f.Add(seed, true)
		f.Add(seed, false)
	}
	f.Fuzz(func(t *testing.T, text string, header bool) {
		d, err := Open(strings.NewReader(text), Options{Delimiter: ',', Header: header})
		if err != nil {
			return
		}
		items, err := readAll(d)
		require.NoError(t, err)
		lines := strings.Count(text, "\n") + 1
		before := 0
		for _, x := range items {
			require.Less(t, before, x.line)
			require.LessOrEqual(t, x.line, lines)
			require.Equal(t, x.fields == nil, x.reason != "")
			if x.fields != nil {
				require.Len(t, x.fields, d.Columns())
			}
			before = x.line
		}
		if !strings.Contains(text, `"`) {
			require.Len(t, items, max(0, filledLines(text)-headerLines(header)))
		}
	})
}

func headerLines(header bool) int {
	if header {
		return 1
	}
	return 0
}

// filledLines counts the lines that are not blank, the plain way: without quotes each is one record.
func filledLines(text string) int {
	n := 0
	for _, line := range strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n") {
		if strings.TrimSuffix(line, "\r") != "" {
			n++
		}
	}
	return n
}

// generated gives n rows of the usual columns; quoted ones have quotes around two of their cells.
func generated(n int, quotes string) string {
	var b strings.Builder
	b.WriteString("time,transmitter,receiver,locator,mhz,snr\n")
	for i := range n {
		fmt.Fprintf(&b, "2026-02-03T%02d:%02d:%02dZ,%sQ1RDG%s,Q%dA%c,%sMN83kp%s,14.0971,%d\n", i/240%24, i/4%60, i%4*15, quotes, quotes, i%10, 'A'+i%26, quotes, quotes, i%40-25)
	}
	return b.String()
}

func BenchmarkReader(b *testing.B) {
	const n = 100_000
	for _, quotes := range []string{"", `"`} {
		text := generated(n, quotes)
		b.Run(fmt.Sprintf("quotes=%t", quotes != ""), func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				d, err := Open(strings.NewReader(text), commas)
				if err != nil {
					b.Fatal(err)
				}
				rows := 0
				for {
					_, err := d.Next()
					if err == io.EOF {
						break
					}
					if err != nil {
						b.Fatal(err)
					}
					rows++
				}
				if rows != n {
					b.Fatal(rows)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
