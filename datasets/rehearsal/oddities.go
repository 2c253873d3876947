package rehearsal

import (
	"math/rand/v2"
	"time"
)

// The odd rows that real files hold, each kind with the greatest number of rows: at most one in a hundred of the good
// ones.
const (
	otherRows  = 150 // reports of other transmitters
	tuningRows = 18  // from before the first session
	restRows   = 12  // from the time between two dwells
	oddRows    = 20  // stamped one slot late
)

// spoilings are the ways of making a row unusable, with the greatest number of rows.
var spoilings = []struct {
	how   string
	times int
}{{"locator", 5}, {"no level", 4}, {"decimal comma", 4}, {"time", 3}, {"no receiver", 2}, {"word", 2}}

// oddities are rows of no use, as any real file holds some: of other transmitters, from times at which the trial did not
// send, and rows that nobody can read. good are the rows of use.
func (s *scene) oddities(random *rand.Rand, good []report) []report {
	if len(good) == 0 {
		return nil
	}
	most := func(n int) int { return min(n, 1+len(good)/100) }
	var out []report
	if all := s.out.Background; len(all) > 0 {
		for range min(otherRows, len(all), 1+len(good)/50) {
			out = append(out, s.background(all[random.IntN(len(all))]))
		}
	}
	period := s.period()
	first := s.trial.Dwells[0].Start
	for range most(tuningRows) {
		out = append(out, at(pick(random, good), first.Add(-time.Duration(4+random.IntN(24))*period), ""))
	}
	if gaps := s.gaps(4 * period); len(gaps) > 0 {
		for range most(restRows) {
			out = append(out, at(pick(random, good), gaps[random.IntN(len(gaps))], ""))
		}
	}
	if period > s.exp.Fixed.Slot { // else one slot late is a slot of the trial
		for range most(oddRows) {
			r := pick(random, good)
			out = append(out, at(r, r.slot.Add(s.exp.Fixed.Slot), "clock?"))
		}
	}
	for _, kind := range spoilings {
		for range most(kind.times) {
			r := pick(random, good)
			r.spoiled = kind.how
			out = append(out, r)
		}
	}
	return out
}

func pick(random *rand.Rand, from []report) report { return from[random.IntN(len(from))] }

// at moves a report.
func at(r report, slot time.Time, note string) report {
	r.slot, r.note = slot, note
	return r
}

// period is the time from one own slot to the next.
func (s *scene) period() time.Duration {
	if s.trial.Sends == "even slots" || s.trial.Sends == "odd slots" {
		return 2 * s.trial.Slot
	}
	return s.trial.Slot
}

// gaps gives own slots between dwells, where there is so much time between them.
func (s *scene) gaps(least time.Duration) []time.Time {
	var out []time.Time
	for i, d := range s.trial.Dwells[:len(s.trial.Dwells)-1] {
		if s.trial.Dwells[i+1].Start.Sub(d.End) >= least {
			out = append(out, d.Start.Add((d.End.Sub(d.Start)/s.period()+1)*s.period()))
		}
	}
	return out
}

// spoil makes the cells of a row unusable, as rows of real files are now and then.
func (r report) spoil(cells row) {
	switch r.spoiled {
	case "locator":
		cells["receiver_locator"] = []string{"ZZ99"}
	case "no level":
		cells["snr_db"] = []string{""}
	case "decimal comma":
		cells["snr_db"][0] += ",5"
	case "word":
		cells["snr_db"] = []string{"good"}
	case "time":
		cells["time"][0] = "x" + cells["time"][0][1:]
	case "no receiver":
		cells["receiver"] = []string{""}
	}
}

// One in so many of the reports that stand in two files stands there with another SNR.
const clashOf = 150

func clash(random *rand.Rand, reports []report) {
	for range len(reports) / clashOf {
		reports[random.IntN(len(reports))].snrDB += 1 - 2*random.IntN(2)
	}
}

// slips are two slips of the pen in a log of some length.
func slips(records []record) {
	if len(records) < 50 {
		return
	}
	wrongDay := records[len(records)/6]
	wrongDay.set("QSO_DATE", wrongDay.get("QSO_DATE")[:6]+"35")
	records[len(records)/3].set("BAND", "11x")
}
