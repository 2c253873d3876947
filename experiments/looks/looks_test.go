package looks

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const head = "time,data,experiment,blocks,p\n"

func TestNoLedgerIsAnEmptyOne(t *testing.T) {
	all, err := Read(filepath.Join(t.TempDir(), "x.looks.csv"))
	require.NoError(t, err)
	require.Empty(t, all)
}

// Lines are only added: what stood there stays, byte for byte.
func TestAppendAdds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.looks.csv")
	at := time.Date(2026, 9, 12, 10, 0, 0, 0, time.FixedZone("", 5*3600+1800))
	require.NoError(t, Append(path, nil, Look{at, "sha256:a", "sha256:e", 4, `say "hi", twice/20m=0.5`}))
	first, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, head+"2026-09-12T04:30:00Z,sha256:a,sha256:e,4,\"say \"\"hi\"\", twice/20m=0.5\"\n", string(first))
	all, err := Read(path)
	require.NoError(t, err)
	require.NoError(t, Append(path, all, Look{at, "sha256:b", "sha256:e", 8, ""}))
	second, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(first)+"2026-09-12T04:30:00Z,sha256:b,sha256:e,8,\n", string(second))
}

// What a killed run left beside the ledger goes with the next line; other files stay.
func TestAppendSweeps(t *testing.T) {
	dir := t.TempDir()
	left := filepath.Join(dir, ".x.looks.csv.tmp-0123456789abcdef")
	mine := filepath.Join(dir, ".x.looks.csv.tmp-mine")
	require.NoError(t, os.WriteFile(left, nil, 0o644))
	require.NoError(t, os.WriteFile(mine, nil, 0o644))
	require.NoError(t, Append(filepath.Join(dir, "x.looks.csv"), nil, Look{Time: time.Unix(0, 0), Data: "sha256:a", Experiment: "sha256:e"}))
	require.NoFileExists(t, left)
	require.FileExists(t, mine)
}

func TestCount(t *testing.T) {
	a, b := Look{Data: "sha256:a"}, Look{Data: "sha256:b"}
	for _, tt := range []struct {
		name  string
		all   []Look
		data  string
		n     int
		isNew bool
	}{
		{"the first", nil, "sha256:a", 1, true},
		{"the same data", []Look{a}, "sha256:a", 1, false},
		{"other data", []Look{a}, "sha256:b", 2, true},
		{"back at the first", []Look{a, b}, "sha256:a", 1, false},
		{"a line that stands twice counts once", []Look{a, a, b}, "sha256:b", 2, false},
		{"after it", []Look{a, a, b}, "sha256:c", 3, true},
	} {
		n, isNew := Count(tt.all, tt.data)
		require.Equal(t, tt.n, n, tt.name)
		require.Equal(t, tt.isNew, isNew, tt.name)
	}
}

func TestDamagedLedger(t *testing.T) {
	const mend = ": the ledger of looks is damaged\n    mend: put back the file as it was; without it nobody can tell how often the data were looked at"
	const good = "2026-09-12T04:30:00Z,sha256:a,sha256:e,4,\n"
	for _, tt := range []struct{ name, text, want string }{
		{"empty", "", "x.csv:1: the first line is not time,data,experiment,blocks,p"},
		{"another head", "a,b\n", "x.csv:1: the first line is not time,data,experiment,blocks,p"},
		{"a web page", "<html>\n", "x.csv:1: the first line is not time,data,experiment,blocks,p"},
		{"no time", head + good + "yesterday,sha256:a,sha256:e,4,\n", `x.csv:3: "yesterday" is not a time`},
		{"a time whose year in UTC has no four digits", head + "0000-01-01T00:00:00+00:10,sha256:a,sha256:e,4,\n", `x.csv:2: "0000-01-01T00:00:00+00:10" is not a time`},
		{"no digest", head + "2026-09-12T04:30:00Z,a,sha256:e,4,\n", `x.csv:2: "a" is not a digest`},
		{"no number", head + good + good + "2026-09-12T04:30:00Z,sha256:a,sha256:e,four,\n", `x.csv:4: "four" is not a number of blocks`},
		{"below zero", head + "2026-09-12T04:30:00Z,sha256:a,sha256:e,-1,\n", `x.csv:2: "-1" is not a number of blocks`},
		{"cut off", head + "2026-09-12T04:30:00Z,sha2", "x.csv:2: there are 2 fields in the place of 5"},
		{"an open quotation mark", head + good + "\"2026", "x.csv:3: this is no CSV"},
	} {
		_, err := parse("x.csv", []byte(tt.text))
		require.EqualError(t, err, tt.want+mend, tt.name)
	}
}

func TestTooLargeLedger(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.csv")
	require.NoError(t, os.WriteFile(path, []byte(head), 0o644))
	require.NoError(t, os.Truncate(path, maxBytes+1))
	_, err := Read(path)
	require.ErrorContains(t, err, "x.csv: it is larger than 16 MiB: the ledger of looks is damaged")
}

// What is written is read back, whatever the claims are called.
func TestWrittenIsRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.csv")
	rapid.Check(t, func(t *rapid.T) {
		l := Look{
			Time:       time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "time"), 0).UTC(),
			Data:       "sha256:" + rapid.StringMatching("[0-9a-f]{0,64}").Draw(t, "data"),
			Experiment: "sha256:e",
			Blocks:     rapid.IntRange(0, 1e6).Draw(t, "blocks"),
			// A line end of Windows inside a text is read as a plain one (package encoding/csv).
			P: strings.ReplaceAll(rapid.String().Draw(t, "p"), "\r", ""),
		}
		require.NoError(t, Append(path, []Look{l, l}, l))
		all, err := Read(path)
		require.NoError(t, err)
		require.Equal(t, []Look{l, l, l}, all)
	})
}

// Any bytes are read without a panic, and what is read can be written and read again.
func FuzzRead(f *testing.F) {
	f.Add([]byte(head))
	f.Add([]byte(head + "2026-09-12T04:30:00Z,sha256:a,sha256:e,4,lift/20m=0.5; lift/10m=1\n"))
	f.Add([]byte(head + "2026-09-12T04:30:00+05:30,sha256:a,sha256:e,4,\"a\nb\"\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		all, err := parse("x", text)
		if err != nil || len(all) == 0 {
			return
		}
		last := len(all) - 1
		path := filepath.Join(t.TempDir(), "x")
		require.NoError(t, Append(path, all[:last], all[last]))
		again, err := Read(path)
		require.NoError(t, err)
		require.Len(t, again, len(all))
		n, isNew := Count(again, all[0].Data)
		require.Equal(t, 1, n)
		require.False(t, isNew)
	})
}
