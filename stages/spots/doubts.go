package spots

import (
	"fmt"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/account"
)

// Bounds of the doubt whether a file's times are UTC. Reports outside the dwells are usual: the station sends on during
// changes, or before the trial. But then no shift brings them in.
const (
	// Over manyOutside of the reports lie outside the dwells, and a shift places shiftGains as many and mostPlaced of all.
	manyOutside = 0.30
	shiftGains  = 1.5
	mostPlaced  = 0.60
	// Or over someOutside, and a shift leaves only leftOver of what does not fit now: a long trial an hour off fits mostly.
	someOutside = 0.10
	leftOver    = 0.25
)

// fewEqual is the number of equal reports from which on chance does not make them.
const fewEqual = 20

// doubtFile gives the doubts about a file that belong beside every verdict.
func (s *placing) doubtFile(n int, rows []placed) diag.List {
	return append(s.doubtZone(n, rows), s.doubtSNR(n, rows)...)
}

// doubtZone doubts that a file's times are UTC if many reports of this station on the trial's bands and in its mode lie
// outside the dwells, and proposes the shift that would place clearly more of them. Nothing is shifted here.
func (s *placing) doubtZone(n int, rows []placed) diag.List {
	var ours []placed
	out := 0
	for _, r := range rows {
		if r.direction != sent || !ofTrial(r.fate) {
			continue
		}
		ours = append(ours, r)
		if r.fate == outside {
			out++
		}
	}
	if float64(out) <= someOutside*float64(len(ours)) {
		return nil
	}
	shift, share, ok := s.bestShift(ours)
	if !ok || !clearlyBetter(float64(out)/float64(len(ours)), s.shareAfter(thin(ours), 0), share) {
		return nil
	}
	return diag.List{{Pos: diag.Pos{File: s.names[n]}, Severity: diag.Warning, Code: "times_doubtful",
		Msg: fmt.Sprintf("%d of %d reports of this station lie outside the dwells of their band; adding %s to the times would put %.0f %% of all into dwells",
			out, len(ours), inWords(shift), 100*share),
		Mend: "were they written in local time? then let the file be in UTC; if the trial ran at another time, enter start in the log"}}
}

// ofTrial tells whether a row's band and mode are those of the trial and its time is good enough to be placed.
func ofTrial(f fate) bool {
	switch f {
	case noReport, betweenOthers, otherBand, otherMode, noSeconds:
		return false
	}
	return true
}

// clearlyBetter weighs a shift: the share that lies outside now, and the shares that fit now and would fit then.
func clearlyBetter(out, now, then float64) bool {
	if out > manyOutside && then > mostPlaced && then >= shiftGains*now {
		return true
	}
	return 1-then <= leftOver*(1-now)
}

// doubtSNR doubts that the right column was named for the SNR if all reports of this station are equal.
func (s *placing) doubtSNR(n int, rows []placed) diag.List {
	count, value := 0, 0.0
	for _, r := range rows {
		if r.direction != sent || r.fate == noReport {
			continue
		}
		if count > 0 && r.snrDB != value {
			return nil
		}
		count, value = count+1, r.snrDB
	}
	if count < fewEqual {
		return nil
	}
	return diag.List{{Pos: diag.Pos{File: s.names[n]}, Severity: diag.Warning, Code: "constant_snr",
		Msg:  fmt.Sprintf("all %d reports of this station show the same SNR: is the right column named?", count),
		Mend: "in [[spots]], let columns.snr_db name the column with the reports in dB"}}
}

// warnings gives doubts as the judge shows them. They name their file, for a verdict has no place for it.
func warnings(doubts diag.List) []account.Warning {
	var out []account.Warning
	for _, d := range doubts {
		out = append(out, account.Warning{Code: d.Code, Text: d.Msg, File: d.Pos.File})
	}
	return out
}
