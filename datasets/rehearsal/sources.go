package rehearsal

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"maps"
	"math/rand/v2"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
)

// File is one file of the rehearsed data, its name below the data folder, with slashes.
type File struct {
	Name string
	Data []byte
}

// made is a file with the table of the experiment that names it, such as "spots[0]".
type made struct {
	File
	table string
}

// kind tells what a [[spots]] table holds.
type kind int

const (
	collected kind = iota // what receivers passed on
	ownLog                // the operator's own log
	otherwise             // background: reports of other transmitters
)

// word is what the files of a kind are called where the pattern leaves it open.
func (k kind) word() string { return [...]string{"reports", "log", "others"}[k] }

func kindOf(src experiments.SpotSource) kind {
	switch {
	case src.Role == "background":
		return otherwise
	case src.Format == "adif" && src.SeenFrom == "me":
		return ownLog
	}
	return collected
}

// spotFiles writes the reports into the files that the experiment's [[spots]] tables name.
func (s *scene) spotFiles() ([]made, error) {
	shares := s.share()
	var out []made
	for n, src := range s.exp.Spots {
		random := stream(s.seed, fmt.Sprintf("files/%d", n))
		reports := shares[n]
		if s.mishaps && kindOf(src) == collected && src.Format == "table" {
			reports = append(reports, s.oddities(random, reports)...)
		}
		reports = slices.DeleteFunc(reports, func(r report) bool { return !fits(r, src) })
		slices.SortStableFunc(reports, report.order)
		files, err := s.filesOf(n, reports, random)
		if err != nil {
			return nil, err
		}
		out = append(out, files...)
	}
	return out, nil
}

// share gives each source its reports. What receivers passed on goes to the sources that collect such reports, each
// receiver to one of them and one in eight to two; without such a source it stands in the own log. The own log holds
// the contacts, and if a claim is about what is heard, all that is heard.
func (s *scene) share() [][]report {
	out := make([][]report, len(s.exp.Spots))
	var by [otherwise + 1][]int
	for n, src := range s.exp.Spots {
		k := kindOf(src)
		by[k] = append(by[k], n)
	}
	heard := slices.ContainsFunc(s.exp.Claims, func(c experiments.Claim) bool { return c.Direction == "received" || c.Kind == "reciprocity" })
	spread := func(sources []int, reports []report, twice bool) {
		for i, r := range reports {
			n := s.numberOf(r)
			out[sources[n%len(sources)]] = append(out[sources[n%len(sources)]], r)
			if twice && len(sources) > 1 && i%8 == 0 {
				out[sources[(n+1)%len(sources)]] = append(out[sources[(n+1)%len(sources)]], r)
			}
		}
	}
	logs, collects := by[ownLog], by[collected]
	switch {
	case len(collects) == 0 && len(logs) > 0:
		spread(logs, s.passed(heard), false)
	case len(collects) > 0:
		spread(collects, s.passed(heard && len(logs) == 0), true)
	}
	if len(logs) > 0 && len(collects) > 0 {
		reports := s.contacts()
		if heard {
			reports = slices.DeleteFunc(reports, func(r report) bool { return !s.bySelf(r.transmitter) })
			reports = append(reports, s.heardHere()...)
		}
		spread(logs, reports, false)
	}
	if others := by[otherwise]; len(others) > 0 {
		for _, h := range s.out.Background {
			n := others[h.Receiver%len(others)]
			out[n] = append(out[n], s.background(h))
		}
	}
	return out
}

// heardHere are the own station's reports of others.
func (s *scene) heardHere() []report {
	return slices.DeleteFunc(s.passed(true), func(r report) bool { return s.bySelf(r.transmitter) })
}

func (s *scene) bySelf(call string) bool { return slices.Contains(s.exp.Station.Calls(), call) }

// numberOf gives the number of a report's far station, as a stable way of sharing stations out.
func (s *scene) numberOf(r report) int {
	call := r.receiver
	if s.bySelf(call) {
		call = r.transmitter
	}
	return s.numbers[call]
}

// fits tells whether a source can hold a report: what its form says of every row must be so.
func fits(r report, src experiments.SpotSource) bool {
	is := func(name, value string) bool {
		c, named := src.Table.Columns[name]
		return !named || c.Value == nil || strings.EqualFold(*c.Value, value)
	}
	return is("transmitter", r.transmitter) && is("receiver", r.receiver) && is("band", r.band) && onFrequency(r, src.Table.Columns["frequency_mhz"])
}

// onFrequency tells whether a report is of the band that the frequency of all rows lies in, if a form says one.
func onFrequency(r report, c experiments.Column) bool {
	if c.Value == nil {
		return true
	}
	mhz, err := strconv.ParseFloat(*c.Value, 64)
	switch c.Unit {
	case "kHz":
		mhz /= 1e3
	case "Hz":
		mhz /= 1e6
	}
	b, ok := bandNamed(r.band)
	return err == nil && ok && b.fromMHz <= mhz && mhz <= b.toMHz
}

// filesOf writes the reports of source n: one file for each session where its pattern leaves room for a number, else one
// in all; of the own log there is always one. With mishaps, a file repeats the last part of the one before, as a later request to one collector does.
func (s *scene) filesOf(n int, reports []report, random *rand.Rand) ([]made, error) {
	src := s.exp.Spots[n]
	pattern := src.Files[0]
	parts := [][]report{reports}
	if takesNumbers(pattern) && kindOf(src) != ownLog {
		parts = s.bySession(reports)
	}
	var out []made
	for i, part := range parts {
		number := i + 1
		if len(parts) == 1 {
			number = 0
		}
		name, ok := fileName(pattern, kindOf(src).word(), number)
		if !ok {
			return nil, s.noName(fmt.Sprintf("spots[%d]", n), pattern, "spots/*.csv")
		}
		if s.mishaps && i > 0 && kindOf(src) == collected {
			before := parts[i-1]
			again := slices.Clone(before[len(before)*3/4:])
			clash(random, again)
			part = append(again, part...)
		}
		data, err := s.encode(src, part)
		if err != nil {
			return nil, fmt.Errorf("writing %s: %w", name, err)
		}
		if strings.HasSuffix(name, ".gz") {
			if data, err = packed(data); err != nil {
				return nil, fmt.Errorf("writing %s: %w", name, err)
			}
		}
		out = append(out, made{File{name, data}, fmt.Sprintf("spots[%d]", n)})
	}
	return out, nil
}

// bySession parts reports, sorted by slot, at the beginnings of the sessions.
func (s *scene) bySession(reports []report) [][]report {
	var out [][]report
	dwells := s.trial.Dwells
	for i, d := range dwells {
		if i == 0 || dwells[i-1].Session == d.Session {
			continue
		}
		cut, _ := slices.BinarySearchFunc(reports, d.Start, func(r report, t time.Time) int { return r.slot.Compare(t) })
		out = append(out, reports[:cut:cut])
		reports = reports[cut:]
	}
	return append(out, reports)
}

// encode writes reports in the form of a source.
func (s *scene) encode(src experiments.SpotSource, reports []report) ([]byte, error) {
	fixed := s.exp.Fixed
	if src.Format == "adif" {
		records := make([]record, len(reports))
		for i, r := range reports {
			records[i] = r.record(src, fixed, s.exp.Station.Calls())
		}
		if s.mishaps && kindOf(src) == ownLog {
			slips(records)
		}
		return writeADI(records, s.trial.Dwells[len(s.trial.Dwells)-1].End.Add(15*time.Minute)), nil
	}
	rows := make([]row, len(reports))
	for i, r := range reports {
		rows[i] = r.row(src, fixed)
	}
	return writeTable(src.Table, spotNames, rows)
}

// packed gzips without a time or a name, so that the same bytes give the same bytes.
func packed(data []byte) ([]byte, error) {
	var out bytes.Buffer
	zip, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	if _, err := zip.Write(data); err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	if err := zip.Close(); err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	return out.Bytes(), nil
}

// keptApart tells of files that a pattern of another table names too: that table would read them as its own.
func (s *scene) keptApart(files []made) diag.List {
	var faults diag.List
	tables := map[string][]string{}
	for n, src := range s.exp.Spots {
		tables[fmt.Sprintf("spots[%d]", n)] = src.Files
	}
	for n, src := range s.exp.Sweeps {
		tables[fmt.Sprintf("sweeps[%d]", n)] = src.Files
	}
	for _, table := range slices.Sorted(maps.Keys(tables)) {
		for _, f := range files {
			i := slices.IndexFunc(tables[table], func(pattern string) bool { ok, _ := path.Match(pattern, f.Name); return ok })
			if i < 0 || f.table == table {
				continue
			}
			faults = append(faults, diag.Diag{Pos: s.exp.Pos(table + ".files"), Related: []diag.Pos{s.exp.Pos(f.table + ".files")},
				Msg:  fmt.Sprintf("%q names the files of another table too, such as %s", tables[table][i], f.Name),
				Mend: "narrow the pattern, for example by a folder or an ending of its own"})
			break
		}
	}
	return faults
}

// noName is the fault of a pattern that no name was found for.
func (s *scene) noName(table, pattern, simple string) diag.List {
	return diag.List{{Pos: s.exp.Pos(table + ".files"), Msg: fmt.Sprintf("no file name was found that %q names", pattern),
		Mend: fmt.Sprintf("write a simpler pattern, for example %q", simple)}}
}
