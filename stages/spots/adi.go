package spots

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/adif"
)

// readADI reads open Amateur Data Interchange Format text. In my own log both reports of a record count; in a
// file whose records were written by the listeners only what the listener gave counts, for it is the one
// thing that the writer knows at first hand.
func (f File) readADI(r io.Reader, c *content) error {
	doubts := newDoubts(f.Name)
	summary, err := adif.Options{}.Read(r, -1, func(rec *adif.Record) error {
		if !rec.Accepted {
			c.refuseRecord(rec)
			if slices.ContainsFunc(rec.Findings, func(w adif.Finding) bool { return w.Kind == "missing-eor" }) {
				c.cutAt(rec.Line)
			}
			return nil
		}
		for _, w := range rec.Findings {
			doubts.add(w)
		}
		c.addRecord(rec, f.SeenFrom)
		return nil
	})
	if err != nil {
		return f.fault(0, err.Error(), "check the file; it must be whole, and ADI text of at most 2 GiB")
	}
	if summary.Rejected {
		for _, w := range summary.Findings {
			if w.Severity == adif.Error {
				return f.fault(w.Line, w.Msg, w.Mend)
			}
		}
	}
	for _, w := range summary.Findings {
		doubts.add(w)
	}
	c.notes = append(c.notes, doubts.list()...)
	return nil
}

// doubts gathers the warnings about a file: one of each kind, with the number of those like it.
type doubts struct {
	file  string
	first map[string]*diag.Diag
	count map[string]int
}

func newDoubts(file string) *doubts {
	return &doubts{file: file, first: map[string]*diag.Diag{}, count: map[string]int{}}
}

func (d *doubts) add(w adif.Finding) {
	d.count[w.Kind]++
	if d.first[w.Kind] == nil {
		d.first[w.Kind] = &diag.Diag{Pos: diag.Pos{File: d.file, Line: w.Line}, Severity: diag.Warning,
			Code: strings.ReplaceAll(w.Kind, "-", "_"), Msg: w.Msg, Mend: w.Mend}
	}
}

func (d *doubts) list() diag.List {
	var out diag.List
	for kind, w := range d.first {
		if n := d.count[kind]; n > 1 {
			w.Msg += fmt.Sprintf(" (and %d more like it)", n-1)
		}
		out = append(out, *w)
	}
	return out.Sort()
}

// refuseRecord puts a record into quarantine with its first error; the mends of all others would be noise.
func (c *content) refuseRecord(rec *adif.Record) {
	for _, w := range rec.Findings {
		if w.Severity == adif.Error {
			reason := w.Msg
			if w.Mend != "" {
				reason += "; mend: " + w.Mend
			}
			c.refuse(rec.Line, w.Field, w.Value, reason)
			return
		}
	}
	// A record keeps no more than a number of findings, and warnings may have used them up.
	c.refuse(rec.Line, "", "", "the record has too many faults to tell")
}

func (c *content) addRecord(rec *adif.Record, seenFrom string) {
	added := false
	for _, s := range rec.Spots {
		if seenFrom == "receiver" && s.From != "RST_SENT" {
			continue
		}
		added = true
		r := emptyRow()
		r.line, r.at, r.hasSeconds = rec.Line, s.Time, s.HasSeconds
		r.tx, r.rx, r.txAt.locator, r.rxAt.locator = s.Transmitter, s.Receiver, s.TransmitterLocator, s.ReceiverLocator
		r.band, r.mode, r.submode, r.snrDB = s.Band, s.Mode, s.Submode, s.SNRdB
		if s.FrequencyMHz != nil {
			r.frequencyMHz = *s.FrequencyMHz
		}
		if s.PowerW != nil {
			r.powerW = *s.PowerW
		}
		appendRow(c.rows, &r)
	}
	if added {
		return
	}
	r := emptyRow()
	r.line, r.at, r.hasSeconds, r.tx, r.rx, r.noReport = rec.Line, rec.Time, true, rec.Call, rec.Station, rec.NoSpot
	if r.noReport == "" {
		r.noReport = "the listener gave none"
	}
	appendRow(c.rows, &r)
}
