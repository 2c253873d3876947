package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
)

func TestStatus(t *testing.T) {
	root := rootCommand(streams{nil, &screen{out: io.Discard}, io.Discard})
	runCmd, _, err := root.Find([]string{"run"})
	require.NoError(t, err)
	pathError := func(cause error) error {
		return fmt.Errorf("publishing: %w", &os.PathError{Op: "write", Path: "x", Err: cause})
	}
	const room = "    mend: make room, or name another place with --out and --store; what was there before is untouched\n"
	const right = "    mend: give yourself the right to write there, or work in another folder (run has --out and --store)\n"
	for _, tt := range []struct {
		name   string
		err    error
		cmd    *cobra.Command
		status int
		text   string
	}{
		{"done", nil, runCmd, 0, ""},
		{"findings", diag.List{{Pos: diag.Pos{File: "a.toml", Line: 3}, Msg: "m", Mend: "n"}}, runCmd, 1, "a.toml:3: m\n    mend: n\n"},
		{"findings, wrapped", fmt.Errorf("reading: %w", diag.List{{Msg: "m"}}), runCmd, 1, "m\n"},
		{"interrupted", fmt.Errorf("stage x: %w", context.Canceled), runCmd, 130, "fairlobe: interrupted; what was computed is kept, and the next run goes on from there\n"},
		{"interrupted, nothing written", context.Canceled, poolCommand(streams{}), 130, "fairlobe: interrupted; nothing was written\n"},
		{"interrupted, nothing kept", context.Canceled, root, 130, "fairlobe: interrupted\n"},
		{"wrong use", usage("no %s", "x"), runCmd, 2, "fairlobe: no x\n    mend: see fairlobe help run\n"},
		{"wrong use at the top", usage("no"), root, 2, "fairlobe: no\n    mend: see fairlobe help\n"},
		{"the machine", errors.New("out of luck"), runCmd, 1, "fairlobe: out of luck\n"},
		{"disk full", pathError(syscall.ENOSPC), runCmd, 1, "fairlobe: publishing: write x: no space left on device\n" + room},
		{"quota", pathError(syscall.EDQUOT), runCmd, 1, "fairlobe: publishing: write x: disk quota exceeded\n" + room},
		{"file too large", pathError(syscall.EFBIG), runCmd, 1, "fairlobe: publishing: write x: file too large\n" + room},
		{"no right", pathError(syscall.EACCES), runCmd, 1, "fairlobe: publishing: write x: permission denied\n" + right},
		{"read-only", pathError(syscall.EROFS), runCmd, 1, "fairlobe: publishing: write x: read-only file system\n" + right},
		{"no right, as the package fs says it", fmt.Errorf("a: %w", fs.ErrPermission), runCmd, 1, "fairlobe: a: permission denied\n" + right},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var out bytes.Buffer
			require.Equal(t, tt.status, status(tt.err, tt.cmd, &out))
			require.Equal(t, tt.text, out.String())
		})
	}
}

type deaf struct{ calls int }

func (d *deaf) Write([]byte) (int, error) {
	d.calls++
	return 0, &os.PathError{Op: "write", Path: "/dev/stdout", Err: syscall.ENOSPC}
}

// The first error of standard output ends in status 1, once in words, and nothing more is written there.
func TestStandardOutputThatTakesNoMore(t *testing.T) {
	for _, args := range [][]string{{"help"}, {"--version"}, {"help", "verdicts"}} {
		out, errOut := &deaf{}, bytes.Buffer{}
		require.Equal(t, statusFault, run(args, nil, out, &errOut))
		require.Equal(t, "fairlobe: standard output takes no more: no space left on device\n"+
			"    mend: send it somewhere else; the files that the command writes are whole\n", errOut.String())
		require.Equal(t, 1, out.calls)
	}
}

// A run that is told to stop before it starts to write has written nothing.
func TestCancelledRunWritesNothing(t *testing.T) {
	dir := t.TempDir()
	std := streams{nil, &screen{out: io.Discard}, io.Discard}
	require.NoError(t, writeDemo(dir, std))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err := runRun(ctx, filepath.Join(dir, "experiments", "ridge-wire.toml"), runOptions{}, std)
	require.ErrorIs(t, err, context.Canceled)
	require.NoFileExists(t, filepath.Join(dir, "experiments", "ridge-wire.looks.csv"))
	require.NoFileExists(t, filepath.Join(dir, "experiments", "ridge-wire.out", "manifest.json"))
}

func TestEmbolden(t *testing.T) {
	const on, off = "\x1b[1m", "\x1b[0m"
	for _, tt := range []struct{ name, text, want string }{
		{"a verdict", "lift helps, 20m: DIFFERENT\n", on + "lift helps, 20m: DIFFERENT" + off + "\n"},
		{"of several words, with a colon in the claim", "a: b, 10m: PRACTICALLY THE SAME\n", on + "a: b, 10m: PRACTICALLY THE SAME" + off + "\n"},
		{"a reason", "  high is louder: BY FAR\n", "  high is louder: BY FAR\n"},
		{"a title", "Ridge wire: feedpoint at 9 m\n", "Ridge wire: feedpoint at 9 m\n"},
		{"a heading", "ANSWERS\n", "ANSWERS\n"},
		{"nothing", "", ""},
		{"an empty line and no line end", "\nx", "\nx"},
	} {
		require.Equal(t, tt.want, string(embolden([]byte(tt.text))), tt.name)
	}
}

// Whatever stands in the answers, bold letters add nothing but their two marks.
func TestEmboldenKeepsTheText(t *testing.T) {
	const text = "T: U\n==\n\nc, 20m: HOLDS\n  every reading\n\nc, 10m: REFUSED\n"
	got := strings.NewReplacer("\x1b[1m", "", "\x1b[0m", "").Replace(string(embolden([]byte(text))))
	require.Equal(t, text, got)
}

func TestNothingIsBoldOffATerminal(t *testing.T) {
	require.False(t, bold(&bytes.Buffer{}, false))
	f, err := os.Create(filepath.Join(t.TempDir(), "f"))
	require.NoError(t, err)
	defer f.Close()
	require.False(t, bold(f, false))
}

func TestProgress(t *testing.T) {
	var out bytes.Buffer
	p := &progress{out: &out}
	p.show(pipeline.Event{Stage: "nothing yet"})
	require.Empty(t, out.String(), "without stages there is nothing to draw")
	p.show(pipeline.Event{Stage: "spots", Done: 1, Total: 4})
	require.Equal(t, "\r\x1b[K####............ 1 of 4  spots", out.String())
	p.last = time.Now().Add(time.Hour) // as if something had been drawn just now
	p.show(pipeline.Event{Stage: "judge", Done: 2, Total: 4})
	require.NotContains(t, out.String(), "judge", "not more often than the eye can follow")
	p.show(pipeline.Event{Stage: "report", Done: 4, Total: 4})
	require.True(t, strings.HasSuffix(out.String(), "\r\x1b[K################ 4 of 4  report"), "the end is always drawn")
	p.clear()
	require.True(t, strings.HasSuffix(out.String(), "report\r\x1b[K"))
	n := out.Len()
	p.clear()
	require.Equal(t, n, out.Len(), "what is gone is not taken away again")
}

// A phone shows 40 columns, and the cursor comes back to the start of the last line only.
func TestProgressFitsAPhone(t *testing.T) {
	var out bytes.Buffer
	for _, stage := range []string{"read_94839058bd7b", "quarantine"} {
		out.Reset()
		(&progress{out: &out}).show(pipeline.Event{Stage: stage, Done: 100, Total: 100})
		require.LessOrEqual(t, len(strings.TrimPrefix(out.String(), "\r\x1b[K")), 40-1, out.String())
	}
}

func TestNoProgressOffATerminal(t *testing.T) {
	var out bytes.Buffer
	for _, p := range []*progress{newProgress(&out), {}} {
		p.show(pipeline.Event{Stage: "spots", Done: 1, Total: 1})
		p.clear()
	}
	require.Empty(t, out.String())
}

// Help fits a terminal of 80 columns.
func TestHelpFitsTheScreen(t *testing.T) {
	for _, args := range [][]string{{"help"}, {"help", "new"}, {"help", "check"}, {"help", "design"}, {"help", "run"},
		{"help", "schedule"}, {"help", "verdicts"}, {"help", "log"}} {
		var out, errOut bytes.Buffer
		require.Equal(t, statusDone, run(args, nil, &out, &errOut))
		require.NotEmpty(t, out.String())
		for line := range strings.Lines(out.String()) {
			require.LessOrEqual(t, len(strings.TrimSuffix(line, "\n")), 80, "%v: %s", args, line)
		}
	}
}

// Every command and topic has its help, and the first help names them all.
func TestHelpNamesAllCommands(t *testing.T) {
	var first bytes.Buffer
	require.Equal(t, statusDone, run([]string{"help"}, nil, &first, io.Discard))
	for _, c := range rootCommand(streams{nil, &screen{out: io.Discard}, io.Discard}).Commands() {
		require.Contains(t, first.String(), "\n  "+c.Name()+" ")
		var out, errOut bytes.Buffer
		require.Equal(t, statusDone, run([]string{"help", c.Name()}, nil, &out, &errOut), errOut.String())
		require.NotEmpty(t, out.String())
	}
}

func TestInsertLine(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		after      int
		want       string
	}{
		{"between two", "a\nb\n", 1, "a\nX\nb\n"},
		{"at the end", "a\nb\n", 2, "a\nb\nX\n"},
		{"behind a last line without an end", "a\nb", 2, "a\nb\nX"},
		{"with the line ends of Windows", "a\r\nb\r\n", 1, "a\r\nX\r\nb\r\n"},
	} {
		require.Equal(t, tt.want, string(insertLine([]byte(tt.text), tt.after, "X")), tt.name)
	}
}

func TestClockAfter(t *testing.T) {
	start := time.Date(2026, 9, 12, 22, 0, 0, 0, time.UTC)
	require.Equal(t, "23:30Z", clockAfter(start, start.Add(90*time.Minute)))
	require.Equal(t, "2026-09-13 00:30Z", clockAfter(start, start.Add(150*time.Minute)))
}

// Findings of data files get the path from where the user is; all others stay.
func TestLocated(t *testing.T) {
	list := diag.List{
		{Pos: diag.Pos{File: "log/switches.csv", Line: 3}, Msg: "m", Related: []diag.Pos{{File: "spots/a.adi"}, {File: "x.toml"}}},
		{Pos: diag.Pos{File: "x.toml", Line: 1}, Msg: "n"},
		{Msg: "o"},
	}
	got := located(list, []pipeline.Stage{{Sources: []pipeline.Source{
		{Name: "log/switches.csv", Path: "d/data/log/switches.csv"}, {Name: "spots/a.adi", Path: "d/data/spots/a.adi"}}}})
	require.Equal(t, "d/data/log/switches.csv:3: m\n    see: d/data/spots/a.adi\n    see: x.toml\nx.toml:1: n\no", got.Error())
	require.Equal(t, "log/switches.csv", list[0].Pos.File, "the list that was given is left alone")
	require.Equal(t, "spots/a.adi", list[0].Related[0].File)
}
