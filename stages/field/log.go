package field

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/dwells"
	"fairlobe/stages/schedule/rows"
)

// appender is an open log: what is written goes to its end.
type appender interface {
	io.Writer
	Sync() error
	Truncate(size int64) error
}

// Log is an open switch log that takes lines at its end.
type Log struct {
	path string
	file *os.File
	to   appender
	size int64
	torn bool // a failed write could not be taken back
	// Told says what was mended when the log was opened; "" if nothing was.
	Told   string
	events []dwells.Event
}

// OpenLog opens the switch log, makes it and its folder if it is not there, mends what a crash has left
// behind, and reads it. An error is a diag.List with places where the log is at fault, among them a log
// that another process has open.
func OpenLog(path string) (*Log, error) { return openLog(path, func(f *os.File) appender { return f }) }

func openLog(path string, through func(*os.File) appender) (*Log, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, fmt.Errorf("making the folder of the switch log: %w", err)
	}
	file, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("opening the switch log: %w", err)
	}
	l := &Log{path: path, file: file, to: through(file)}
	if err := l.begin(); err != nil {
		file.Close() // the error that ends it is the one to tell
		return nil, err
	}
	return l, nil
}

func (l *Log) begin() error {
	alone, err := atomicfile.TryLock(l.file)
	if err != nil {
		return fmt.Errorf("locking the switch log: %w", err)
	}
	if !alone {
		return diag.List{{Pos: diag.Pos{File: l.path}, Msg: "another fairlobe field has this switch log open",
			Mend: "go on in that window, or end it (key q) and start again"}}
	}
	text, err := io.ReadAll(io.LimitReader(l.file, rows.MaxBytes+1))
	if err != nil {
		return fmt.Errorf("reading the switch log: %w", err)
	}
	text, err = l.mend(text)
	if err != nil {
		return err
	}
	l.size = int64(len(text))
	events, faults := dwells.ReadLog(bytes.NewReader(text), l.path)
	l.events = events
	return faults.Err()
}

// mend does what Mend says, each step pushed to the disk before the next one takes anything away.
func (l *Log) mend(text []byte) ([]byte, error) {
	if len(text) > rows.MaxBytes {
		return text, nil // ReadLog refuses it
	}
	r := Mend(text)
	if len(r.Torn) > 0 {
		if err := l.setAside(r.Torn); err != nil {
			return nil, err
		}
		if err := l.to.Truncate(int64(r.Keep)); err != nil {
			return nil, fmt.Errorf("taking a torn line off the switch log: %w", err)
		}
		l.Told = fmt.Sprintf("the last line of the log was torn and had not been confirmed: %s; it was moved to %s", rows.Quote(string(r.Torn)), l.tornPath())
	} else if r.Keep > 0 && len(r.Add) > 0 {
		l.Told = "the last line of the log had no line feed; it was finished, nothing was lost"
	}
	text = append(bytes.Clone(text[:r.Keep]), r.Add...)
	if !r.Needed() {
		return text, nil
	}
	if err := l.push(r.Add); err != nil {
		return nil, fmt.Errorf("mending the switch log: %w", err)
	}
	if err := atomicfile.SyncDir(filepath.Dir(l.path)); err != nil {
		return nil, err
	}
	return text, nil
}

func (l *Log) tornPath() string { return l.path + ".torn" }

func (l *Log) setAside(torn []byte) (err error) {
	f, err := os.OpenFile(l.tornPath(), os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o644)
	if err != nil {
		return fmt.Errorf("setting a torn line aside: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err := f.Write(append(bytes.Clone(torn), '\n')); err != nil {
		return fmt.Errorf("setting a torn line aside: %w", err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("setting a torn line aside: %w", err)
	}
	return nil
}

// push writes and waits until the disk has it.
func (l *Log) push(text []byte) error {
	if len(text) > 0 {
		if _, err := l.to.Write(text); err != nil {
			return err
		}
	}
	return l.to.Sync()
}

// Path is where the log lies.
func (l *Log) Path() string { return l.path }

// Events gives all events of the log, in its order. The slice is the log's own.
func (l *Log) Events() []dwells.Event { return l.events }

// Close ends the writing, and lets another process write.
func (l *Log) Close() error { return l.file.Close() }

// Append writes one event and waits until the disk has it: once it returns without an error, no crash
// loses the line. With an error the line is not in the log. Entered is raised to that of the line above
// where a clock was set back, since a log never goes back in time.
func (l *Log) Append(e dwells.Event) error {
	e.Time, e.Entered = e.Time.UTC().Truncate(time.Millisecond), e.Entered.UTC().Truncate(time.Millisecond)
	if n := len(l.events); n > 0 && e.Entered.Before(l.events[n-1].Entered) {
		e.Entered = l.events[n-1].Entered
	}
	e.Note = cleanNote(e.Note)
	line := Line(e)
	if err := l.undisturbed(); err != nil {
		return err
	}
	if err := l.takeBack(l.torn); err != nil {
		return err
	}
	if err := l.push(line); err != nil {
		return errors.Join(fmt.Errorf("writing to the switch log: %w", err), l.takeBack(true))
	}
	l.size += int64(len(line))
	e.Line = l.nextLine()
	l.events = append(l.events, e)
	return nil
}

// nextLine numbers the new line for findings that speak of it.
func (l *Log) nextLine() int {
	if n := len(l.events); n > 0 {
		return l.events[n-1].Line + 1
	}
	return 2
}

// undisturbed makes sure that the file is still the one that was opened, and as long as it was left.
func (l *Log) undisturbed() error {
	open, err := l.file.Stat()
	if err != nil {
		return fmt.Errorf("looking at the switch log: %w", err)
	}
	there, err := os.Stat(l.path)
	if err == nil && os.SameFile(open, there) && (l.torn || open.Size() == l.size) {
		return nil
	}
	return diag.List{{Pos: diag.Pos{File: l.path}, Msg: "another program has changed, moved or replaced the switch log since it was opened",
		Mend: "close that program, and start fairlobe field again: it reads the log anew"}}
}

// takeBack removes what a failed write may have left.
func (l *Log) takeBack(needed bool) error {
	if !needed {
		return nil
	}
	l.torn = true
	if err := l.to.Truncate(l.size); err != nil {
		return fmt.Errorf("taking back a torn line: %w", err)
	}
	l.torn = false
	return nil
}
