package main

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"fairlobe/pipeline/atomicfile"
	"fairlobe/pipeline/diag"
	"fairlobe/stages"
	"fairlobe/stages/schedule"
	"fairlobe/stages/schedule/calendar"
	"fairlobe/stages/schedule/phone"
)

// designFiles are the forms in which the schedule is written; "" = not written.
type designFiles struct{ schedule, calendar, page string }

func (f *designFiles) flags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.schedule, "schedule", "", "write the schedule to this CSV `file`")
	flags.StringVar(&f.calendar, "calendar", "", "write the schedule to this iCalendar `file`")
	flags.StringVar(&f.page, "page", "", "write a page for the phone to this HTML `file`")
}

func (o *opened) writeFiles(f designFiles, std streams) error {
	for _, one := range []struct {
		path, what string
		write      func(io.Writer) error
	}{
		{f.schedule, "this schedule", func(w io.Writer) error { return schedule.WriteCSV(w, o.planned) }},
		{f.calendar, "this calendar", o.writeCalendar},
		{f.page, "this page", o.writePage},
	} {
		if one.path == "" {
			continue
		}
		if err := writeUnlessOther(one.path, one.what, one.write, std); err != nil {
			return err
		}
	}
	return nil
}

func (o *opened) writeCalendar(w io.Writer) error {
	return calendar.Write(w, o.planned, calendar.Params{Title: o.exp.Title, Call: o.exp.Station.Call, Name: o.exp.Name})
}

func (o *opened) writePage(w io.Writer) error {
	canonical, err := o.exp.Canonical()
	if err != nil {
		return fmt.Errorf("writing the experiment in its canonical form: %w", err)
	}
	return phone.Write(w, o.planned, phone.Params{
		Title: o.exp.Title, Experiment: fmt.Sprintf("%x", sha256.Sum256(canonical)),
		SlotMs: o.exp.Fixed.Slot.Milliseconds(), SettleMs: o.exp.Schedule.Settle.Milliseconds(), Sends: o.exp.Fixed.Sends,
		Cautions: stages.Cautions(o.exp),
	})
}

// writeUnlessOther writes a file; one that holds something else is left alone.
func writeUnlessOther(path, what string, write func(io.Writer) error, std streams) error {
	var text bytes.Buffer
	if err := write(&text); err != nil {
		return err
	}
	have, err := os.ReadFile(path)
	switch {
	case err == nil && bytes.Equal(have, text.Bytes()):
		fmt.Fprintf(std.err, "fairlobe: %s holds %s already\n", path, what)
		return nil
	case err == nil:
		return diag.List{{Pos: diag.Pos{File: path}, Msg: "the file exists and holds something else; nothing was written", Mend: "name another file, or move this one away"}}
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("reading %s before it is written: %w", path, err)
	}
	if err := atomicfile.WriteFile(path, text.Bytes(), 0o644); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	fmt.Fprintf(std.err, "fairlobe: wrote %s\n", path)
	return nil
}
