package main

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"fairlobe/stages/schedule"
)

// fieldTrial writes an experiment of six blocks on 20m whose first slot is at the start: dwells of 6 min with 30 s of
// settling and 3 min between them, slots of 15 s of which the even ones are sent in, so 11 own slots in a dwell.
func fieldTrial(t *testing.T, start time.Time) (dir, path string) {
	dir = t.TempDir()
	quiet := streams{nil, &screen{out: io.Discard}, io.Discard}
	require.NoError(t, newExperiment(filepath.Join(dir, "w"), someAnswers(), false, quiet))
	path = filepath.Join(dir, "w.toml")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	for pattern, with := range map[string]string{
		`(?m)^start = \S+`: "start = " + start.UTC().Format(time.RFC3339),
		`(?m)^blocks = 16`: "blocks = 6",
		`(?m)^seed = \d+`:  "seed = 7",
	} {
		old := regexp.MustCompile(pattern)
		require.True(t, old.Match(text), pattern)
		text = old.ReplaceAll(text, []byte(with))
	}
	require.NoError(t, os.WriteFile(path, text, 0o644))
	return dir, path
}

// operator sits at a pseudo-terminal in front of the command, and turns its clock.
type operator struct {
	t      *testing.T
	master *os.File
	tick   chan time.Time
	ended  chan error
	stop   context.CancelFunc

	mu  sync.Mutex
	now time.Time
	out strings.Builder
}

// sit starts the command at a time.
func sit(t *testing.T, path string, opt fieldOptions, now time.Time) *operator {
	t.Setenv("TERM", "xterm")
	master, tty, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(master, &pty.Winsize{Rows: 50, Cols: 160}))
	ctx, stop := context.WithCancel(t.Context())
	o := &operator{t: t, master: master, tick: make(chan time.Time), ended: make(chan error, 1), stop: stop, now: now}
	go func() {
		in := bufio.NewReader(master)
		for {
			b, err := in.ReadByte()
			if err != nil {
				return
			}
			o.mu.Lock()
			o.out.WriteByte(b)
			o.mu.Unlock()
		}
	}()
	go func() {
		std := streams{tty, &screen{out: tty}, tty}
		o.ended <- runField(ctx, path, opt, std, fieldClock{o.time, o.tick})
	}()
	t.Cleanup(func() { stop(); master.Close(); tty.Close() })
	o.see("Session 1")
	return o
}

func (o *operator) time() time.Time {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.now
}

// at turns the clock to a time of the trial's day.
func (o *operator) at(clock string) {
	o.mu.Lock()
	o.now = fieldMoment(o.t, clock)
	now := o.now
	o.mu.Unlock()
	select {
	case o.tick <- now:
	case <-time.After(10 * time.Second):
		require.Fail(o.t, "the command does not look at its clock", o.screen())
	}
}

// press types keys, and waits until the terminal shows the text that they lead to.
func (o *operator) press(keys, shows string) {
	o.mu.Lock()
	o.out.Reset()
	o.mu.Unlock()
	_, err := io.WriteString(o.master, keys)
	require.NoError(o.t, err)
	o.see(shows)
}

func (o *operator) screen() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.out.String()
}

func (o *operator) see(text string) {
	o.t.Helper()
	for range 5000 {
		if strings.Contains(o.screen(), text) {
			return
		}
		time.Sleep(2 * time.Millisecond)
	}
	require.Fail(o.t, fmt.Sprintf("%q does not come", text), o.screen())
}

func (o *operator) leaves() error {
	select {
	case err := <-o.ended:
		return err
	case <-time.After(10 * time.Second):
		require.Fail(o.t, "the command goes on", o.screen())
		return nil
	}
}

func fieldMoment(t *testing.T, clock string) time.Time {
	at, err := time.Parse(time.RFC3339, "2026-09-12T"+clock+"Z")
	require.NoError(t, err)
	return at
}

// A session at a terminal: a late switch, a pause inside a block, a wrong arm, a restart in the middle of a block, a
// confirmation that was forgotten. What the analysis makes of the log is counted by hand from the plan.
func TestFieldSessionOnATerminal(t *testing.T) {
	dir, path := fieldTrial(t, fieldMoment(t, "04:00:00"))
	exp, err := open(path)
	require.NoError(t, err)
	var arms []string // dwell by dwell
	for _, d := range exp.planned {
		arms = append(arms, d.Arm)
	}
	require.Len(t, arms, 12)

	o := sit(t, path, fieldOptions{}, fieldMoment(t, "03:55:00"))
	o.see("Clock check")
	o.press("0.\x7f.3\r", "03:55:00Z clock: 0.3 s")
	o.at("03:58:00")
	o.press("c", "03:58:00Z connected: "+arms[0])
	o.at("04:00:00")
	o.at("04:06:00")
	o.see("CHANGE: ")
	o.see("\a")
	o.at("04:10:35") // 95 s late: slots 0:30, 1:00 and 1:30 are gone
	o.press(" ", "Left out of every dwell of block 1 on 20m alike: the first 3 slots.")
	o.at("04:17:30")
	o.press("c", "04:17:30Z connected: "+arms[2])
	o.at("04:20:00")
	o.press("p", "A pause now drops block 2 on 20m")
	o.press("y\r", "Block 2 on 20m does not count: paused inside.")
	o.at("04:22:05")
	o.press("p", "What follows moves by 2:30.")
	o.at("04:29:20") // the second dwell of block 2 begins at 04:29:30
	o.press("\x1b[A\x1b[Bc", "04:29:20Z connected: "+arms[3])
	o.at("04:38:10")
	o.press("c", "04:38:10Z connected: "+arms[4])
	o.at("04:40:00")
	o.press("w", "Wrong arm: drop block 3 on 20m?")
	o.press("y\r", "Block 3 on 20m does not count: dropped: wrong arm noticed.")
	o.at("04:47:00")
	o.press("c", "04:47:00Z connected: "+arms[5])
	o.at("04:56:00")
	o.press("c", "04:56:00Z connected: "+arms[6])
	o.at("05:01:00")
	o.stop()
	require.ErrorIs(t, o.leaves(), context.Canceled)

	o = sit(t, path, fieldOptions{}, fieldMoment(t, "05:03:00"))
	o.see("CONNECT\x1b[K\r\n")
	o.see("block 4 of 6, dwell 2 of 2")
	o.at("05:05:20") // the second dwell of block 4 begins at 05:05:30
	o.press("c", "05:05:20Z connected: "+arms[7])
	o.at("05:14:00")
	o.press("c", "05:14:00Z connected: "+arms[8])
	o.at("05:31:00") // the second dwell of block 5 began at 05:23:30
	o.press("e", "When was "+arms[9])
	o.press("05:23:10\r", "05:23:10Z connected: "+arms[9])
	o.press("n", "? Note:")
	o.press("not this\x1b", "Nothing written.")
	o.press("c", "05:31:00Z connected: "+arms[10])
	o.at("05:41:00")
	o.press("c", "05:41:00Z connected: "+arms[11])
	o.at("05:47:30")
	o.see("The last dwell is over.")
	o.at("05:48:00")
	o.press("x", "Blocks that count: 4; lost: 2.")
	o.press("-0.2\r", "05:48:00Z clock: -0.2 s")
	require.NoError(t, o.leaves())

	t.Chdir(dir)
	var out, errOut strings.Builder
	require.Equal(t, statusDone, run([]string{"run", "--csv", "w.toml"}, nil, &out, &errOut), errOut.String())
	require.Equal(t, []string{
		"1 true 8 ", "1 true 8 ",
		"2 false 0 paused inside", "2 false 0 paused inside",
		"3 false 0 dropped: wrong arm noticed", "3 false 0 dropped: wrong arm noticed",
		"4 true 11 ", "4 true 11 ", "5 true 11 ", "5 true 11 ", "6 true 11 ", "6 true 11 ",
	}, dwellsOf(t, "w.out/tables/dwells.csv", "block", "kept", "slots", "reason"))
	require.NotContains(t, dwellsOf(t, "w.out/tables/dwells.csv", "confirmed"), "false")
	require.Equal(t, arms, dwellsOf(t, "w.out/tables/dwells.csv", "arm"), "no entry changes which arm a dwell counts for")
	starts := dwellsOf(t, "w.out/tables/dwells.csv", "start")
	require.Contains(t, starts[11], "05:41:30")
}

// dwellsOf gives columns of the table of dwells, line by line.
func dwellsOf(t *testing.T, path string, columns ...string) []string {
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	table, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []string
	for _, line := range table[1:] {
		var values []string
		for _, want := range columns {
			for i, name := range table[0] {
				if name == want {
					values = append(values, line[i])
				}
			}
		}
		require.Len(t, values, len(columns), "%v", table[0])
		out = append(out, strings.Join(values, " "))
	}
	return out
}

// Ctrl-C leaves the terminal as it was, and says that nothing is lost.
func TestFieldInterrupted(t *testing.T) {
	_, path := fieldTrial(t, fieldMoment(t, "04:00:00"))
	o := sit(t, path, fieldOptions{from: "now"}, fieldMoment(t, "04:20:05"))
	o.see("04:20:30Z")
	o.press("\x03", firstScreen)
	err := o.leaves()
	require.ErrorIs(t, err, context.Canceled)
	cmd, _, findErr := rootCommand(streams{nil, &screen{out: io.Discard}, io.Discard}).Find([]string{"field"})
	require.NoError(t, findErr)
	var told strings.Builder
	require.Equal(t, statusInterrupted, status(err, cmd, &told))
	require.Equal(t, "fairlobe: interrupted; the log has everything, and the same command goes on from there\n", told.String())
}

// The command itself, killed while notes stream in: what it said is written is in the log, and the log goes on.
func TestFieldKilled(t *testing.T) {
	start := time.Now().Add(24 * time.Hour).Truncate(time.Hour)
	dir, path := fieldTrial(t, start)
	program, err := exec.LookPath("fairlobe")
	require.NoError(t, err, "the test binary stands in the path under the command's name")
	r := rand.New(rand.NewPCG(5, 6))
	written := 0
	for range 12 {
		cmd := exec.Command(program, "field", path)
		in, err := cmd.StdinPipe()
		require.NoError(t, err)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		go func() {
			fmt.Fprintln(in) // no clock reading
			for i := 0; ; i++ {
				if _, err := fmt.Fprintf(in, "n\nentry %d\n", i); err != nil {
					return
				}
			}
		}()
		told := bufio.NewScanner(out)
		var timer *time.Timer
		for told.Scan() {
			if strings.Contains(told.Text(), "  remark: entry ") {
				written++
				if timer == nil {
					timer = time.AfterFunc(time.Duration(r.Float64()*float64(20*time.Millisecond)), func() { cmd.Process.Kill() })
				}
			}
		}
		require.NotNil(t, timer, "the command wrote nothing")
		require.Error(t, cmd.Wait())
		text, err := os.ReadFile(filepath.Join(dir, "w", "log", "switches.csv"))
		require.NoError(t, err)
		got := strings.Count(string(text), "remark,1,20m,1,")
		require.GreaterOrEqual(t, got, written)
		written = got
	}
	require.Greater(t, written, 12)
}

// Without a terminal there are plain lines: no control characters.
func TestFieldPlain(t *testing.T) {
	_, path := fieldTrial(t, fieldMoment(t, "04:00:00"))
	var out, errOut strings.Builder
	std := streams{strings.NewReader("\nc\nn\nall well\nq\n"), &screen{out: &out}, &errOut}
	now := fieldMoment(t, "03:59:00")
	require.NoError(t, runField(t.Context(), path, fieldOptions{blind: true}, std, fieldClock{func() time.Time { return now }, nil}))
	require.NotRegexp(t, `[\x00-\x09\x0b-\x1f]`, out.String())
	require.Contains(t, out.String(), "03:59:00Z  connected: X")
	require.Contains(t, out.String(), "03:59:00Z  remark: all well\n")
	require.Contains(t, errOut.String(), "the experiment is not sealed")
	require.NotRegexp(t, `\b(low|high)\b`, out.String())

	var key strings.Builder
	require.NoError(t, runField(t.Context(), path, fieldOptions{blindKey: true}, streams{nil, &screen{out: &key}, &errOut}, fieldClock{}))
	require.Regexp(t, `^X1  (low|high)\nX2  (low|high)\n$`, key.String())
}

// The plan of the tests is the one that they count by.
func TestFieldTrialHasElevenSlots(t *testing.T) {
	_, path := fieldTrial(t, fieldMoment(t, "04:00:00"))
	o, err := open(path)
	require.NoError(t, err)
	for _, d := range o.planned {
		require.Equal(t, 11, schedule.CountOwn(d, o.exp.Fixed.Slot.Milliseconds(), o.exp.Fixed.Sends))
	}
}
