package rows

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var header = []string{"when", "what"}

func TestReadGivesEveryValueItsPlace(t *testing.T) {
	got, list := Read(strings.NewReader("\ufeffwhen,what\r\n1, two \r\n\r\n\"3\",\"a \"\"b\"\",\nc\"\n"), "log.csv", header)
	require.Empty(t, list)
	require.Len(t, got, 2)
	assert.Equal(t, "two", got[0].Value(1), "blanks around a value do not count")
	assert.Equal(t, "log.csv:2:3", got[0].Pos(1).String())
	assert.Equal(t, "a \"b\",\nc", got[1].Value(1), "RFC 4180 sections 2.6 and 2.7")
	assert.Equal(t, 4, got[1].Line(), "a blank line is skipped and counted")
}

func TestReadNamesFaults(t *testing.T) {
	for _, c := range []struct{ reason, text, want string }{
		{"nothing at all", "", "log.csv:1:1: the file is empty\n    mend: begin it with the line when,what"},
		{"another header", "time,what\n", "log.csv:1:1: the first line is \"time,what\"\n    mend: begin the file with the line when,what"},
		{"semicolons, as a spreadsheet writes them", "when;what\n1;2\n", "log.csv:1:1: the columns are parted by \";\"\n    mend: save the file with commas between them"},
		{"tabs", "when\twhat\n1\t2\n", "log.csv:1:1: the columns are parted by \"\\t\"\n    mend: save the file with commas between them"},
		{"UTF-16", "\xff\xfew\x00h\x00e\x00n\x00,\x00", "log.csv:1:1: the file is UTF-16 or binary\n    mend: save it as text in UTF-8, with commas"},
		{"UTF-16 without its mark", "w\x00h\x00e\x00n\x00,\x00", "log.csv:1:1: the file is UTF-16 or binary"},
		{"a broken header", "\"when,what\n", "log.csv:1:12: a quotation mark that does not fit"},
		{"too few values", "when,what\n1\n", "log.csv:2:1: columns in this line: 1, in the header: 2"},
		{"too many values", "when,what\n1,2,3\n", "log.csv:2:3: columns in this line: 3, in the header: 2"},
		{"a lonely quotation mark", "when,what\n1,a\"b\n", "log.csv:2:4: a quotation mark that does not fit"},
		{"a quotation mark that is never closed", "when,what\n1,\"a\n2,b\n3,c\n", "log.csv:2: a quotation mark that does not fit"},
		{"bytes of another encoding", "when,what\n1,\xff\n", "log.csv:2:3: what is not UTF-8 text\n    mend: save the file as UTF-8"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			_, list := Read(strings.NewReader(c.text), "log.csv", header)
			require.Len(t, list, 1)
			assert.Contains(t, list.Error(), c.want)
		})
	}
}

func TestReadGoesOnAfterABrokenLine(t *testing.T) {
	got, list := Read(strings.NewReader("when,what\n1\n2,a\"\n3,good\n"), "log.csv", header)
	assert.Len(t, list, 2)
	require.Len(t, got, 1)
	assert.Equal(t, "good", got[0].Value(1))
}

func TestReadHasLimits(t *testing.T) {
	_, list := Read(strings.NewReader("when,what\n"+strings.Repeat("1,2\n", MaxRows+1)), "log.csv", header)
	assert.ErrorContains(t, list.Err(), "more than 50000 lines")

	_, list = Read(strings.NewReader("when,what\n"+strings.Repeat("x", MaxBytes)), "log.csv", header)
	assert.ErrorContains(t, list.Err(), "more than 32 MiB")

	_, list = Read(iotest.ErrReader(errors.New("the card was pulled out")), "log.csv", header)
	assert.ErrorContains(t, list.Err(), "the card was pulled out")
}

func TestCapSaysWhatItHides(t *testing.T) {
	_, list := Read(strings.NewReader("when,what\n"+strings.Repeat("1\n", MaxFaults+7)), "log.csv", header)
	capped := Cap(list, "log.csv")
	require.Len(t, capped, MaxFaults+1)
	assert.Equal(t, "log.csv: 7 more faults of this file are not shown", capped[MaxFaults].String())
	assert.Len(t, list, MaxFaults+7, "the list that was given stays whole")
}

func TestCountAndTime(t *testing.T) {
	got, list := Read(strings.NewReader("when,what\n2026-09-12T06:00:00+02:00,0\n2026-09-12T04:00:07.5Z,12\nnoon,x\n"), "log.csv", header)
	require.Empty(t, list)

	_, fault := got[0].Time(0, "when")
	require.NotNil(t, fault)
	assert.Equal(t, "write UTC with Z: 2026-09-12T04:00:00Z", fault.Mend)
	at, fault := got[1].Time(0, "when")
	require.Nil(t, fault)
	assert.Equal(t, int64(1789185607500), at.UnixMilli(), "date -ud 2026-09-12T04:00:07 +%s = 1789185607")
	_, fault = got[2].Time(0, "when")
	assert.Contains(t, fault.String(), `when = "noon" is not a moment in UTC`)

	_, fault = got[0].Count(1, "what")
	assert.Contains(t, fault.String(), `log.csv:2:27: what = "0" is not a whole number from 1 upwards`)
	n, fault := got[1].Count(1, "what")
	assert.Nil(t, fault)
	assert.Equal(t, 12, n)
}

func TestNearest(t *testing.T) {
	known := []string{"start", "pause", "drop", "radio_clock", "clock"}
	for word, want := range map[string]string{
		"strat":      "start", // two replacements of five letters
		"paused":     "pause",
		"Drop":       "drop",
		"radioclock": "radio_clock",
		"clok":       "clock",
		"zzzzzz":     "",
		"":           "",
	} {
		assert.Equal(t, want, Nearest(word, known), word)
	}
	assert.Empty(t, Nearest("start", nil))
	assert.Empty(t, Nearest(strings.Repeat("a", 1<<20), known))
}

func TestQuoteCutsAndSpellsOut(t *testing.T) {
	assert.Equal(t, `"a\x1b[31m"`, Quote("a\x1b[31m"))
	assert.Len(t, Quote(strings.Repeat("é", 100)), 60*2+3+2, "60 characters of two bytes, dots, quotation marks")
}

func TestOneOf(t *testing.T) {
	for _, words := range [][]string{nil, {"a"}, {"a", "b"}, {"a", "b", "c"}} {
		want := map[int]string{0: "", 1: "a", 2: "a or b", 3: "a, b or c"}[len(words)]
		assert.Equal(t, want, OneOf(words), fmt.Sprint(words))
	}
}
