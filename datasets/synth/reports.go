package synth

import (
	"bytes"
	"cmp"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Numbers of the odd rows in the reports: few, as in real data, but each kind is there.
const (
	otherRows   = 150 // two other stations
	oddSlotRows = 20  // stamped one slot late
	tuningRows  = 18  // before the first session
	restRows    = 12  // between two dwells
	clashRows   = 14  // the second file tells another SNR
	spelled     = 11  // the station that writes the transmitter with its suffix
)

// report is one row, as text.
type report struct {
	when             time.Time
	stamp            string
	sender, hearer   string
	where, hz, level string
	note             string
}

// reports gives the two report files, gzipped. They are two requests to one collector, made at different
// times, so the middle of the trial stands in both.
func (t trip) reports() (first, second []byte, err error) {
	random := t.stream("files/reports")
	rows := t.passed()
	rows = append(rows, t.others(random)...)
	rows = append(rows, t.outside(random)...)
	rows = append(rows, broken(random, rows)...)
	slices.SortStableFunc(rows, func(a, b report) int {
		return cmp.Or(a.when.Compare(b.when), cmp.Compare(a.hearer, b.hearer), cmp.Compare(a.sender, b.sender))
	})
	from, to := t.startOf(1, 6), t.startOf(2, 4)
	var early, late []report
	for _, r := range rows {
		if r.when.Before(to) {
			early = append(early, r)
		}
		if !r.when.Before(from) {
			late = append(late, r)
		}
	}
	clash(random, late, to)
	if first, err = packed(early); err != nil {
		return nil, nil, err
	}
	second, err = packed(late)
	return first, second, err
}

// startOf is when a block's first dwell began.
func (t trip) startOf(session, block int) time.Time {
	i := slices.IndexFunc(t.dwells, func(d Dwell) bool { return d.Session == session && d.Block == block })
	return t.dwells[i].Start
}

// row is what a receiver reports.
func (t trip) row(when time.Time, sender string, station Station, band Band, snr int) report {
	return report{
		when: when, stamp: when.UTC().Format(time.RFC3339), sender: sender, hearer: station.Call, where: station.Locator,
		hz: strconv.FormatInt(band.Hz+station.OffsetHz, 10), level: strconv.Itoa(snr),
	}
}

// passed are the reports that the receivers passed on.
func (t trip) passed() []report {
	var rows []report
	for _, s := range t.decodes {
		if !s.Passed {
			continue
		}
		sender := "Q1RDG"
		if s.Station == spelled {
			sender = "Q1RDG/P"
		}
		rows = append(rows, t.row(s.Slot, sender, t.stations[s.Station], t.band(t.dwells[s.Dwell].Band), s.SNR))
	}
	return rows
}

// others are reports of other transmitters.
func (t trip) others(random *rand.Rand) []report {
	taken := map[string]bool{"Q1RDG": true}
	for _, s := range t.stations {
		taken[s.Call] = true
	}
	senders := make([]string, 6)
	for i := range senders {
		senders[i] = call(random, taken)
	}
	var rows []report
	for range otherRows {
		s := t.decodes[random.IntN(len(t.decodes))]
		when := s.Slot.Add(time.Duration(random.IntN(2)) * t.Slot)
		rows = append(rows, t.row(when, senders[random.IntN(len(senders))], t.stations[s.Station],
			t.band(t.dwells[s.Dwell].Band), random.IntN(24)-18))
	}
	return rows
}

// outside are reports of the own station at times at which the trial did not send: while tuning before the
// first session, between two dwells, and by receivers whose stamps are one slot late.
func (t trip) outside(random *rand.Rand) []report {
	var rows []report
	add := func(n int, note string, at func(s Spot) time.Time) {
		for range n {
			s := t.decodes[random.IntN(len(t.decodes))]
			r := t.row(at(s), "Q1RDG", t.stations[s.Station], t.band(t.dwells[s.Dwell].Band), s.SNR)
			r.note = note
			rows = append(rows, r)
		}
	}
	add(tuningRows, "", func(Spot) time.Time {
		return t.dwells[0].Start.Add(-20*time.Minute + time.Duration(random.IntN(24))*2*t.Slot)
	})
	add(restRows, "", func(s Spot) time.Time { return t.dwells[s.Dwell].End.Add(2 * t.Slot) })
	add(oddSlotRows, "clock?", func(s Spot) time.Time { return s.Slot.Add(t.Slot) })
	return rows
}

// broken are rows that no reader can use, each kind a few times.
func broken(random *rand.Rand, rows []report) []report {
	faults := []struct {
		times int
		spoil func(*report)
	}{
		{5, func(r *report) { r.where = "ZZ99" }},
		{4, func(r *report) { r.level = "" }},
		{4, func(r *report) { r.level += ",5" }},
		{3, func(r *report) { r.stamp = strings.Replace(r.stamp, "T0", "T3", 1) }},
		{2, func(r *report) { r.hearer = "" }},
		{2, func(r *report) { r.level = "good" }},
	}
	var bad []report
	for _, f := range faults {
		for range f.times {
			r := rows[random.IntN(len(rows))]
			f.spoil(&r)
			bad = append(bad, r)
		}
	}
	return bad
}

// clash changes the SNR of a few rows that stand in the other file too.
func clash(random *rand.Rand, rows []report, shared time.Time) {
	n, _ := slices.BinarySearchFunc(rows, shared, func(r report, t time.Time) int { return r.when.Compare(t) })
	for range clashRows {
		r := &rows[random.IntN(n)]
		if snr, err := strconv.Atoi(r.level); err == nil {
			r.level = strconv.Itoa(snr + 1 - 2*random.IntN(2))
		}
	}
}

// packed writes rows as delimited text and gzips it, without a time or a name, so that the same rows give the
// same bytes.
func packed(rows []report) ([]byte, error) {
	lines := [][]string{{"entry", "when", "who sent", "who heard", "where", "hz", "level", "note"}}
	for i, r := range rows {
		lines = append(lines, []string{strconv.Itoa(i + 1), r.stamp, r.sender, r.hearer, r.where, r.hz, r.level, r.note})
	}
	var out bytes.Buffer
	zip, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	if err := csv.NewWriter(zip).WriteAll(lines); err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	if err := zip.Close(); err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	return out.Bytes(), nil
}
