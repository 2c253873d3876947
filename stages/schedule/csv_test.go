package schedule

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	head  = "session,band,block,position,arm,start,settle_end,end\n"
	lineA = "1,20m,1,1,low,2026-09-12T04:00:00Z,,2026-09-12T04:06:00Z\n"
	lineB = "1,20m,1,2,high,2026-09-12T04:06:00Z,2026-09-12T04:07:00Z,2026-09-12T04:12:00Z\n"
)

func TestReadCSVFillsInSettling(t *testing.T) {
	got, list := ReadCSV(strings.NewReader(head+lineA+lineB), "s.csv", 30_000)
	require.Empty(t, list)
	assert.Equal(t, []Dwell{
		{1, "20m", 1, 1, "low", at("2026-09-12T04:00:00Z"), at("2026-09-12T04:00:30Z"), at("2026-09-12T04:06:00Z")},
		{1, "20m", 1, 2, "high", at("2026-09-12T04:06:00Z"), at("2026-09-12T04:07:00Z"), at("2026-09-12T04:12:00Z")},
	}, got, "end is exclusive, so the next dwell may start at it")
}

func TestReadCSVNamesFaults(t *testing.T) {
	for _, c := range []struct{ reason, text, want, mend string }{
		{"another header", "session,band\n", `s.csv:1:1: the first line is "session,band"`, "session,band,block,position,arm,start,settle_end,end"},
		{"no dwell", head, "s.csv:1: the schedule has no dwell", "one line for each dwell"},
		{"session 0", head + "0" + lineA[1:] + lineB, `s.csv:2:1: session = "0" is not a whole number`, "count from 1"},
		{"no band", head + "1,,1,1,low,2026-09-12T04:00:00Z,,2026-09-12T04:06:00Z\n", "s.csv:2:3: band is empty", "name the band"},
		{"no arm", head + "1,20m,1,1,,2026-09-12T04:00:00Z,,2026-09-12T04:06:00Z\n", "s.csv:2:11: arm is empty", "name the arm"},
		{"a time zone", head + "1,20m,1,1,low,2026-09-12T06:00:00+02:00,,2026-09-12T04:06:00Z\n", "s.csv:2:15: start = ", "2026-09-12T04:00:00Z"},
		{"an end before the start", head + "1,20m,1,1,low,2026-09-12T04:00:00Z,,2026-09-12T03:06:00Z\n", "s.csv:2:37: the dwell ends at 2026-09-12T03:06:00Z", "first moment at which"},
		{"a dwell of two days", head + "1,20m,1,1,low,2026-09-12T04:00:00Z,,2026-09-14T03:06:00Z\n", "s.csv:2:37: the dwell from", "is over"},
		{"settling beyond the end", head + "1,20m,1,1,low,2026-09-12T04:00:00Z,2026-09-12T04:06:00Z,2026-09-12T04:06:00Z\n", "s.csv:2:36: settling ends at", "inside the dwell"},
		{"lines out of order", head + lineB + lineA, "s.csv:3:15: the dwell starts at 2026-09-12T04:00:00Z, before that of the line above", "sort the lines"},
		{"an overlap", head + lineA + strings.Replace(lineB, "T04:06", "T04:05", 1), "s.csv:3:16: the dwell starts at 2026-09-12T04:05:00Z, before that of the line above is over", "2026-09-12T04:06:00Z or later"},
		{"a position missing", head + lineA + strings.Replace(lineB, ",1,2,", ",1,3,", 1), "s.csv:3:9: position 3 where position 2", "number the dwells"},
		{"a block that begins at 2", head + strings.Replace(lineA, ",1,1,", ",2,1,", 1) + strings.Replace(lineB, ",1,2,", ",2,2,", 1), "s.csv:2:7: block 2 follows block 0", "count blocks from 1"},
		{"a session in two pieces", head + lineA + lineB + "2,20m,1,1,low,2026-09-12T05:00:00Z,,2026-09-12T05:06:00Z\n2,20m,1,2,high,2026-09-12T05:06:00Z,,2026-09-12T05:12:00Z\n1,20m,2,1,low,2026-09-12T06:00:00Z,,2026-09-12T06:06:00Z\n1,20m,2,2,high,2026-09-12T06:06:00Z,,2026-09-12T06:12:00Z\n", "s.csv:6:1: session 1 goes on after session 2 has begun", "its own number"},
		{"an arm too often", head + lineA + lineB + strings.ReplaceAll(strings.Replace(lineA, ",1,1,", ",1,3,", 1), "T04", "T05"), `s.csv:2:11: block 1 of session 1 on 20m holds "low" 2 times and "high" 1 times`, "each arm equally often: high, low"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			got, list := ReadCSV(strings.NewReader(c.text), "s.csv", 30_000)
			require.NotEmpty(t, list)
			assert.Nil(t, got)
			assert.Contains(t, list[0].String(), c.want)
			assert.Contains(t, list[0].Mend, c.mend)
		})
	}
}

func TestReadCSVNamesAllFaultsAtOnce(t *testing.T) {
	_, list := ReadCSV(strings.NewReader(head+"x,,y,0,,noon,,\n"+"1,2\n"), "s.csv", 30_000)
	assert.Len(t, list, 8, "seven bad values of one line, and a short line")
}

func TestReadCSVWantsBlocksOneAfterTheOther(t *testing.T) {
	text := head + lineA + lineB +
		"1,20m,2,1,low,2026-09-12T04:12:00Z,,2026-09-12T04:18:00Z\n" +
		"1,20m,1,3,low,2026-09-12T04:18:00Z,,2026-09-12T04:24:00Z\n" +
		"1,20m,2,2,high,2026-09-12T04:24:00Z,,2026-09-12T04:30:00Z\n" +
		"1,20m,1,4,high,2026-09-12T04:30:00Z,,2026-09-12T04:36:00Z\n"
	_, list := ReadCSV(strings.NewReader(text), "s.csv", 30_000)
	assert.ErrorContains(t, list.Err(), "s.csv:5:7: block 1 follows block 2")
}

func FuzzReadCSV(f *testing.F) {
	golden, err := os.ReadFile("testdata/small.csv")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(golden)
	f.Add([]byte(head + lineA + lineB))
	f.Add([]byte(head + "1,\"a\"\"b\",1,1,low,2026-09-12T04:00:00Z,,2026-09-12T04:06:00Z\n"))
	f.Add([]byte("\xef\xbb\xbf" + head + "x,,y,0,,noon,,\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		dwells, list := ReadCSV(bytes.NewReader(text), "s.csv", 30_000)
		if (len(dwells) == 0) == (len(list) == 0) {
			t.Fatalf("%d dwells and %d faults: want one or the other", len(dwells), len(list))
		}
		if len(list) > 0 {
			return
		}
		var out bytes.Buffer
		require.NoError(t, WriteCSV(&out, dwells))
		again, list := ReadCSV(&out, "s.csv", 30_000)
		require.Empty(t, list)
		require.Equal(t, dwells, again)
		Summarise(dwells, 15_000, EvenSlots)
		PlainlyRegular(dwells)
	})
}
