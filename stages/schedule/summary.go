package schedule

import "time"

// Summary is what a schedule asks of the operator. Hours are of 3600 s.
type Summary struct {
	Sessions []SessionSummary
	Bands    []BandSummary
	Dwells   int
	// ArmChanges and BandChanges count within sessions, from one dwell to the next: what is really
	// changed, not what time is allowed for.
	ArmChanges, BandChanges int
	// DwellHours is the time in dwells, SettleHours the part of it that is left out, TransmitHours the
	// length of all own slots ("as logged": of all slots, the most that can be), ChangeHours the time
	// between dwells of a session, TotalHours from the first to the last moment of each session, summed.
	DwellHours, SettleHours, TransmitHours, ChangeHours, TotalHours float64
}

// SessionSummary is one outing.
type SessionSummary struct {
	Session    int
	Start, End time.Time
	Hours      float64
	Dwells     int
	ArmChanges int
}

// BandSummary is one band, over all sessions.
type BandSummary struct {
	Band             string
	Blocks, Dwells   int
	OwnSlots         int
	FewestOwnSlots   int // in one dwell
	OwnSlotsEachHour float64
}

// Summarise sums up dwells that are sorted by start. Sessions and bands stand in the order in which they
// begin.
func Summarise(dwells []Dwell, slotMs int64, sends string) Summary {
	var s Summary
	own := make([]int, len(dwells))
	slots := 0
	for i, d := range dwells {
		own[i] = CountOwn(d, slotMs, sends)
		slots += own[i]
	}
	s.Dwells = len(dwells)
	s.addSessions(dwells)
	s.addBands(dwells, own)
	s.TransmitHours = (time.Duration(slots) * time.Duration(slotMs) * time.Millisecond).Hours()
	return s
}

func (s *Summary) addSessions(dwells []Dwell) {
	var inDwell, settling, total time.Duration
	last := map[int]int{}  // session -> index of its latest dwell
	place := map[int]int{} // session -> index in s.Sessions
	for i, d := range dwells {
		inDwell += d.End.Sub(d.Start)
		settling += d.SettleEnd.Sub(d.Start)
		before, known := last[d.Session]
		if !known {
			place[d.Session] = len(s.Sessions)
			s.Sessions = append(s.Sessions, SessionSummary{Session: d.Session, Start: d.Start})
		}
		session := &s.Sessions[place[d.Session]]
		if known && dwells[before].Arm != d.Arm {
			s.ArmChanges++
			session.ArmChanges++
		}
		if known && dwells[before].Band != d.Band {
			s.BandChanges++
		}
		session.Dwells++
		session.End = d.End
		last[d.Session] = i
	}
	for i := range s.Sessions {
		length := s.Sessions[i].End.Sub(s.Sessions[i].Start)
		s.Sessions[i].Hours = length.Hours()
		total += length
	}
	s.DwellHours, s.SettleHours = inDwell.Hours(), settling.Hours()
	s.ChangeHours, s.TotalHours = (total - inDwell).Hours(), total.Hours()
}

func (s *Summary) addBands(dwells []Dwell, own []int) {
	place := map[string]int{}
	length := map[string]time.Duration{}
	for _, group := range Blocks(dwells) {
		band := dwells[group[0]].Band
		if _, known := place[band]; !known {
			place[band] = len(s.Bands)
			s.Bands = append(s.Bands, BandSummary{Band: band, FewestOwnSlots: own[group[0]]})
		}
		b := &s.Bands[place[band]]
		b.Blocks++
		for _, i := range group {
			b.Dwells++
			b.OwnSlots += own[i]
			b.FewestOwnSlots = min(b.FewestOwnSlots, own[i])
			length[band] += dwells[i].End.Sub(dwells[i].Start)
		}
	}
	for i, b := range s.Bands {
		s.Bands[i].OwnSlotsEachHour = float64(b.OwnSlots) / length[b.Band].Hours()
	}
}
