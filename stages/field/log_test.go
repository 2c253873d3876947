package field

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/dwells"
)

const head = "time,entered,event,session,band,block,arm,value,note\n"

func TestMend(t *testing.T) {
	const first = "2026-09-12T04:00:10Z,2026-09-12T04:00:10Z,connected,1,20m,1,low,,\n"
	const whole = "2026-09-12T04:09:10Z,2026-09-12T04:09:10Z,drop,1,20m,1,,,rain on the"
	for _, one := range []struct{ name, text, want, torn string }{
		{name: "new", want: head},
		{name: "in order", text: head + first, want: head + first},
		{name: "with carriage returns", text: "time,entered,event,session,band,block,arm,value,note\r\n", want: "time,entered,event,session,band,block,arm,value,note\r\n"},
		{name: "header torn", text: "time,ente", want: head, torn: "time,ente"},
		{name: "header without its line feed", text: strings.TrimSpace(head), want: head},
		{name: "zeros where the header was", text: "\x00\x00\x00", want: head, torn: "\x00\x00\x00"},
		{name: "line feed missing", text: head + first + strings.TrimSpace(first), want: head + first + first},
		{name: "whole but for the end of the note", text: head + first + whole, want: head + first + whole + "\n"},
		{name: "inside the time", text: head + first + "2026-09-12T04:0", want: head + first, torn: "2026-09-12T04:0"},
		{name: "one column short", text: head + first + "2026-09-12T04:09:10Z,2026-09-12T04:09:10Z,connected,1,20m,1,low,", want: head + first, torn: "2026-09-12T04:09:10Z,2026-09-12T04:09:10Z,connected,1,20m,1,low,"},
		{name: "drop without its reason yet", text: head + "2026-09-12T04:09:10Z,2026-09-12T04:09:10Z,drop,1,20m,1,,,", want: head, torn: "2026-09-12T04:09:10Z,2026-09-12T04:09:10Z,drop,1,20m,1,,,"},
		{name: "inside quotation marks", text: head + first + `2026-09-12T04:09:10Z,,remark,1,,,,,"rain, `, want: head + first, torn: `2026-09-12T04:09:10Z,,remark,1,,,,,"rain, `},
		{name: "inside a letter", text: head + first + "2026-09-12T04:09:10Z,,remark,1,,,,,m\xc3", want: head + first, torn: "2026-09-12T04:09:10Z,,remark,1,,,,,m\xc3"},
		{name: "zeros", text: head + first + "\x00\x00\x00\x00", want: head + first, torn: "\x00\x00\x00\x00"},
		{name: "zeros behind a whole line", text: head + first + whole + "\x00\x00", want: head + first, torn: whole + "\x00\x00"},
		{name: "another file", text: "my shopping list", want: "my shopping list"},
		{name: "another file of several lines", text: "time,entered,event\n\x00 list", want: "time,entered,event\n\x00 list"},
		{name: "a fault before stays for the reader to tell", text: head + "nonsense\n" + first, want: head + "nonsense\n" + first},
	} {
		t.Run(one.name, func(t *testing.T) {
			r := Mend([]byte(one.text))
			require.Equal(t, one.want, one.text[:r.Keep]+string(r.Add))
			require.Equal(t, one.torn, string(r.Torn))
			require.Equal(t, one.torn != "" || len(r.Add) > 0, r.Needed())
		})
	}
}

func TestOpenLogMends(t *testing.T) {
	path := filepath.Join(t.TempDir(), "switches.csv")
	require.NoError(t, os.WriteFile(path, []byte(head+"2026-09-12T04:0"), 0o644))
	log, err := OpenLog(path)
	require.NoError(t, err)
	require.Contains(t, log.Told, `"2026-09-12T04:0"; it was moved to `+path+".torn")
	require.NoError(t, log.Append(dwells.Event{Time: moment("04:00:00"), Entered: moment("04:00:00"), Kind: dwells.Remark, Note: " line\nfeed\x00 "}))
	require.NoError(t, log.Close())
	torn, err := os.ReadFile(path + ".torn")
	require.NoError(t, err)
	require.Equal(t, "2026-09-12T04:0\n", string(torn))
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, head+"2026-09-12T04:00:00Z,2026-09-12T04:00:00Z,remark,,,,,,line feed\n", string(text))

	require.NoError(t, os.WriteFile(path, []byte("my shopping list"), 0o644))
	_, err = OpenLog(path)
	require.ErrorContains(t, err, "begin the file with the line time,entered")
	text, err = os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "my shopping list", string(text))
}

// Wherever a log is cut and whatever follows, mending keeps every whole line, loses no byte, and is done after once.
func FuzzMend(f *testing.F) {
	const line = "2026-09-12T04:00:10Z,2026-09-12T04:00:10Z,connected,1,20m,1,low,,\n"
	f.Add([]byte(head+line+line), 10)
	f.Add([]byte(head+line+`2026-09-12T04:09:10Z,,remark,1,,,,,"rain, ""big"""`+"\n"), 130)
	f.Add([]byte("\x00\x00"), 1)
	f.Add([]byte("\ufeff"+head), 5)
	f.Fuzz(func(t *testing.T, text []byte, cut int) {
		if len(text) > 4000 {
			return
		}
		text = text[:max(0, min(cut, len(text)))]
		r := Mend(text)
		require.Equal(t, string(text), string(text[:r.Keep])+string(r.Torn), "no byte is lost")
		whole := bytes.LastIndexByte(text, '\n') + 1
		require.GreaterOrEqual(t, r.Keep, whole, "whole lines stay")
		mended := append(bytes.Clone(text[:r.Keep]), r.Add...)
		require.False(t, Mend(mended).Needed(), "%q", mended)
		before, faults := dwells.ReadLog(bytes.NewReader(text[:whole]), "")
		after, more := dwells.ReadLog(bytes.NewReader(mended), "")
		require.GreaterOrEqual(t, len(after), len(before))
		if whole > 0 {
			require.Len(t, more, len(faults), "mending adds no fault")
		}
	})
}

// What makes the test binary a program that writes until it is killed.
const writerVariable = "FAIRLOBE_FIELD_TEST_LOG"

func TestMain(m *testing.M) {
	if path := os.Getenv(writerVariable); path != "" {
		if err := writeUntilKilled(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// halves writes each line in two halves, with a moment between them in which a kill may fall.
type halves struct{ *os.File }

func (h halves) Write(p []byte) (int, error) {
	n, err := h.File.Write(p[:len(p)/2])
	if err != nil {
		return n, err
	}
	time.Sleep(300 * time.Microsecond)
	m, err := h.File.Write(p[len(p)/2:])
	return n + m, err
}

func writeUntilKilled(path string) error {
	log, err := openLog(path, func(f *os.File) appender { return halves{f} })
	if err != nil {
		return err
	}
	for i := len(log.Events()); ; i++ {
		now := moment("04:00:00").Add(time.Duration(i) * time.Second)
		if err := log.Append(dwells.Event{Time: now, Entered: now, Kind: dwells.Remark, Session: 1, Note: fmt.Sprintf(`entry %d, "quoted"`, i)}); err != nil {
			return err
		}
		fmt.Println(i) // it was confirmed
	}
}

// Kills at random moments after the first entry, until there are 50 of them and 10 fell inside a write: no entry that
// was confirmed is lost, and the log can always be read and written again.
func TestKilledWriters(t *testing.T) {
	const leastKills, leastInWrite, mostKills = 50, 10, 400
	path := filepath.Join(t.TempDir(), "switches.csv")
	program, err := os.Executable()
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 4))
	confirmed, kills, inWrite := 0, 0, 0
	for kills < leastKills || inWrite < leastInWrite {
		require.Less(t, kills, mostKills, "%d kills fell inside a write", inWrite)
		confirmed = max(confirmed, killWriter(t, program, path, time.Duration(r.Float64()*float64(12*time.Millisecond)))+1)
		kills++
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		if !bytes.HasSuffix(text, []byte("\n")) {
			inWrite++
		}
		log, err := OpenLog(path)
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(log.Events()), confirmed, "kill %d", kills)
		for i, e := range log.Events() {
			want := fmt.Sprintf(`entry %d, "quoted"`, i)
			require.Equal(t, want, e.Note, "kill %d", kills)
		}
		require.NoError(t, log.Close())
	}
	t.Logf("%d kills, %d of them inside a write; %d entries confirmed", kills, inWrite, confirmed)
}

// killWriter starts a writer, kills it some time after its first entry, and gives the last entry that it confirmed.
func killWriter(t *testing.T, program, path string, after time.Duration) (last int) {
	t.Helper()
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), writerVariable+"="+path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.Stderr = os.Stderr
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(out)
	require.True(t, lines.Scan(), "the writer wrote nothing")
	timer := time.AfterFunc(after, func() { cmd.Process.Kill() })
	defer timer.Stop()
	text := lines.Text()
	for lines.Scan() {
		text = lines.Text()
	}
	cmd.Wait() // it was killed
	_, err = fmt.Sscan(text, &last)
	require.NoError(t, err)
	return last
}
