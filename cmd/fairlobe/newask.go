package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"fairlobe/experiments/outline"
)

// errNoAnswer means that the answers ended; nothing was written.
var errNoAnswer = errors.New("the answers ended; nothing was written")

// inquiry asks line by line. An empty line takes what stands in brackets.
type inquiry struct {
	in   *bufio.Scanner
	out  io.Writer
	path string
	opt  *newOptions
}

// askNew asks for the few things that matter. An answer that the experiment file could not hold is asked for again.
func askNew(in io.Reader, out io.Writer, path string, opt *newOptions) error {
	q := inquiry{in: bufio.NewScanner(in), out: out, path: path, opt: opt}
	fmt.Fprint(out, "What is the question?\n\n")
	all := outline.All()
	for i, o := range all {
		fmt.Fprintf(out, "  %d  %-13s %s\n", i+1, o.Name, o.About)
	}
	fmt.Fprint(out, "\nAn empty answer takes what stands in brackets; all can be changed in the file.\n\n")
	a := &opt.Answers
	for _, one := range []struct {
		words, have string
		take        func(string) error
	}{
		{"Question, by number or name", opt.about, func(s string) error { return chooseOutline(s, all, &opt.about) }},
		{"Your call sign", a.Call, text(&a.Call)},
		{"Your locator, six characters", a.Locator, text(&a.Locator)},
		{"Bands, with commas", strings.Join(a.Bands, ","), func(s string) error { a.Bands = split(s); return nil }},
		{"Power at the radio, W", decimal(a.PowerW), figure(&a.PowerW)},
		{"Smallest difference that matters to you, dB", decimal(a.SmallestDB), figure(&a.SmallestDB)},
		{"How often a receiver's reports are passed on, min (0 = every decode)", decimal(a.SpotIntervalMin), figure(&a.SpotIntervalMin)},
		{"What a change of the antenna takes, min", decimal(a.ChangeMin), figure(&a.ChangeMin)},
		{"First slot, UTC", a.Start.Format(time.RFC3339), instant(&a.Start)},
	} {
		if err := q.ask(one.words, one.have, one.take); err != nil {
			return err
		}
	}
	return nil
}

// ask repeats a question until the answer fits.
func (q inquiry) ask(words, have string, take func(string) error) error {
	for {
		fmt.Fprintf(q.out, "%s [%s]: ", words, have)
		if !q.in.Scan() {
			fmt.Fprintln(q.out)
			if err := q.in.Err(); err != nil {
				return fmt.Errorf("reading the answers: %w", err)
			}
			return errNoAnswer
		}
		answer := strings.TrimSpace(q.in.Text())
		if answer == "" {
			return nil
		}
		before := *q.opt
		err := take(answer)
		if err == nil {
			_, err = q.opt.text(q.path)
		}
		if err == nil {
			return nil
		}
		*q.opt = before
		fmt.Fprintf(q.out, "  %v\n", err)
	}
}

func chooseOutline(answer string, all []outline.Outline, about *string) error {
	for i, o := range all {
		if answer == strconv.Itoa(i+1) || strings.EqualFold(answer, o.Name) {
			*about = o.Name
			return nil
		}
	}
	return fmt.Errorf("a number from 1 to %d, or a name", len(all))
}

func text(to *string) func(string) error {
	return func(s string) error { *to = s; return nil }
}

func figure(to *float64) func(string) error {
	return func(s string) error {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return errors.New("a number, with a decimal point")
		}
		*to = x
		return nil
	}
}

func instant(to *time.Time) func(string) error {
	return func(s string) error {
		t, err := time.Parse(time.RFC3339, s)
		if err != nil {
			return errors.New("a time as in 2026-09-12T04:00:00Z")
		}
		*to = t.UTC()
		return nil
	}
}

func split(s string) []string {
	var out []string
	for _, part := range strings.Split(s, ",") {
		out = append(out, strings.TrimSpace(part))
	}
	return out
}

func decimal(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
