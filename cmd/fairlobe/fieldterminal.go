package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/mattn/go-isatty"
	"golang.org/x/term"

	"fairlobe/stages/field"
)

// asked is what takes keys and answers: a keeper, or the paper.
type asked interface {
	Enter(now time.Time, text string) []string
	Prompt() string
	Left() bool
}

// keepField keeps a session until the operator leaves it: on a terminal with a screen that is drawn anew and single
// keys, elsewhere with plain lines.
func keepField(ctx context.Context, k *field.Keeper, said []string, std streams, at fieldClock) error {
	in, out, ok := terminal(std)
	if !ok {
		show := func(lines []string) { printLines(std.out, lines) }
		show(append(append(said, k.Status(at.now())...), field.Legend(80)...))
		return readLines(ctx, k, std, at, func(now time.Time) { lines, _ := k.Tick(now); show(lines) })
	}
	t := &fieldScreen{keeper: k, out: out, said: said}
	if err := t.open(in); err != nil {
		return err
	}
	err := t.run(ctx, in, at)
	t.close()
	printLines(std.out, t.said)
	return err
}

// askPaper asks for what stands on paper, line by line.
func askPaper(ctx context.Context, p *field.Paper, told []string, std streams, at fieldClock) error {
	printLines(std.out, append(told, p.Begin(at.now())...))
	return readLines(ctx, p, std, at, func(time.Time) {})
}

// terminal gives the files of keyboard and screen, if both are there.
func terminal(std streams) (in, out *os.File, ok bool) {
	in, inFile := std.in.(*os.File)
	out, outFile := std.out.out.(*os.File)
	ok = inFile && outFile && isatty.IsTerminal(in.Fd()) && isatty.IsTerminal(out.Fd()) && os.Getenv("TERM") != "dumb"
	return in, out, ok
}

func printLines(to io.Writer, lines []string) {
	for _, line := range lines {
		fmt.Fprintln(to, line)
	}
}

// readLines takes keys and answers as lines until the operator leaves, or the lines end.
func readLines(ctx context.Context, a asked, std streams, at fieldClock, tick func(now time.Time)) error {
	lines := make(chan string)
	done := make(chan struct{})
	defer close(done)
	go func() {
		defer close(lines)
		in := bufio.NewReader(std.in)
		for {
			line, err := in.ReadString('\n')
			if line == "" && err != nil {
				return
			}
			select {
			case lines <- strings.TrimRight(line, "\r\n"):
			case <-done:
				return
			}
		}
	}()
	prompt := func() {
		if p := a.Prompt(); p != "" {
			fmt.Fprintf(std.out, "? %s\n", strings.TrimSpace(p))
		}
	}
	prompt()
	for !a.Left() {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case line, open := <-lines:
			if !open {
				fmt.Fprintln(std.out, "The input has ended. The log has everything; the same command goes on from here.")
				return nil
			}
			printLines(std.out, a.Enter(at.now(), line))
			prompt()
		case <-at.tick:
			tick(at.now())
		}
		if std.out.err != nil {
			return std.out.err
		}
	}
	return nil
}

// fieldScreen is the keeper on a terminal.
type fieldScreen struct {
	keeper *field.Keeper
	out    *os.File
	said   []string
	typed  []byte // of the answer to the open question
	before func() error
}

// mostSaid is how many sayings stay on the screen.
const mostSaid = 8

// The control sequences, of ECMA-48 but for the second screen, which terminals have beside it.
const (
	otherScreen = "\x1b[?1049h\x1b[H\x1b[J"
	firstScreen = "\x1b[?1049l"
	toTheTop    = "\x1b[H"
	clearLine   = "\x1b[K"
	clearBelow  = "\x1b[J"
	bell        = "\a"
)

func (t *fieldScreen) open(in *os.File) error {
	state, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return fmt.Errorf("preparing the terminal: %w", err)
	}
	t.before = func() error { return term.Restore(int(in.Fd()), state) }
	return t.print(otherScreen)
}

func (t *fieldScreen) close() {
	t.print(firstScreen) // a terminal that is gone needs no tidying
	t.before()
}

func (t *fieldScreen) print(text string) error {
	if _, err := io.WriteString(t.out, text); err != nil {
		return fmt.Errorf("writing to the terminal: %w", err)
	}
	return nil
}

// errTerminalGone: the keyboard gives nothing any more.
var errTerminalGone = errors.New("the terminal is gone; the log has everything, and the same command goes on from there")

func (t *fieldScreen) run(ctx context.Context, in *os.File, at fieldClock) error {
	typed := make(chan []byte)
	done := make(chan struct{})
	defer close(done)
	go func() {
		defer close(typed)
		for {
			buffer := make([]byte, 256)
			n, err := in.Read(buffer)
			if err != nil {
				return
			}
			select {
			case typed <- buffer[:n]:
			case <-done:
				return
			}
		}
	}()
	if err := t.draw(at.now()); err != nil {
		return err
	}
	for !t.keeper.Left() {
		ring := false
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case keys, open := <-typed:
			if !open {
				return errTerminalGone
			}
			if !t.take(at.now(), keys) {
				return context.Canceled
			}
		case <-at.tick:
			var told []string
			told, ring = t.keeper.Tick(at.now())
			t.say(told)
		}
		if ring {
			if err := t.print(bell); err != nil {
				return err
			}
		}
		if err := t.draw(at.now()); err != nil {
			return err
		}
	}
	return nil
}

func (t *fieldScreen) say(lines []string) {
	t.said = append(t.said, lines...)
	t.said = t.said[max(0, len(t.said)-mostSaid):]
}

// What the keyboard sends for keys that are no text.
const (
	keyInterrupt = 0x03
	keyEndOfText = 0x04
	keyBackspace = 0x08
	keyLineFeed  = 0x0a
	keyEnter     = 0x0d
	keyEraseLine = 0x15
	keyEscape    = 0x1b
	keyDelete    = 0x7f
)

// take handles what was typed; false means that the operator broke off.
func (t *fieldScreen) take(now time.Time, keys []byte) bool {
	for i := 0; i < len(keys) && !t.keeper.Left(); i++ {
		asking := t.keeper.Prompt() != ""
		switch key := keys[i]; {
		case key == keyInterrupt:
			return false
		case key == keyEscape && i+1 < len(keys) && (keys[i+1] == '[' || keys[i+1] == 'O'):
			i = endOfSequence(keys, i)
		case key == keyEscape:
			t.typed = nil
			t.say(t.keeper.Cancel())
		case key == keyEndOfText && !asking:
			t.say(t.keeper.Enter(now, "q"))
		case key == keyEnter || key == keyLineFeed:
			if asking {
				text := string(t.typed)
				t.typed = nil
				t.say(t.keeper.Enter(now, text))
			}
		case key == keyBackspace || key == keyDelete:
			_, n := utf8.DecodeLastRune(t.typed)
			t.typed = t.typed[:len(t.typed)-n]
		case key == keyEraseLine:
			t.typed = nil
		case key < ' ':
		case asking:
			if len(t.typed) < longestAnswer {
				t.typed = append(t.typed, key)
			}
		default:
			t.say(t.keeper.Enter(now, string(key)))
		}
	}
	return true
}

// longestAnswer is how many bytes an answer may have.
const longestAnswer = 2000

// endOfSequence gives the place of the last byte of a control sequence that begins at i: arrows do nothing here.
func endOfSequence(keys []byte, i int) int {
	for i += 2; i < len(keys) && (keys[i] < 0x40 || keys[i] > 0x7e); i++ {
		continue
	}
	return i
}

// draw shows the screen in one write, without clearing it first, so that it does not flicker.
func (t *fieldScreen) draw(now time.Time) error {
	width, height, err := term.GetSize(int(t.out.Fd()))
	if err != nil || width <= 0 || height <= 0 {
		width, height = 40, 24
	}
	lines := t.keeper.Screen(now, t.said, width, height-1)
	text := toTheTop + strings.Join(lines, clearLine+"\r\n") + clearLine
	if t.keeper.Prompt() != "" {
		text += " " + strings.ToValidUTF8(string(t.typed), "")
	}
	return t.print(text + clearBelow)
}
