package schedule

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"fairlobe/stages/schedule/rows"
)

// The two patterns of a block.
const (
	// Pairs: one dwell an arm, in the drawn order.
	Pairs = "pairs"
	// Mirrored: the drawn order, then its mirror image.
	Mirrored = "mirrored"
)

// The two ways to take turns between bands and arms.
const (
	BandsWithinArm = "bands within arm"
	ArmsWithinBand = "arms within band"
)

// MaxDwells is the most dwells that a plan or a file may hold.
const MaxDwells = rows.MaxRows

const dayMs = 24 * 60 * 60 * 1000

// lastStartMs is 9999-12-31T00:00:00Z: RFC 3339 has four digits for the year.
const lastStartMs = 253402214400000

// Plan is all that decides a schedule. Lengths are milliseconds.
type Plan struct {
	Seed uint64
	// Arms and Bands are in the order of the experiment file.
	Arms, Bands []string
	DwellMs     int64
	// SettleMs is the first part of each dwell, left out.
	SettleMs     int64
	ArmChangeMs  int64
	BandChangeMs int64
	SlotMs       int64
	Pattern      string // Pairs or Mirrored
	Rotate       string // BandsWithinArm or ArmsWithinBand
	Breaks       []Break
	Sessions     []Session
}

// Break is a pause after a block of every session; after a session's last block it does not count.
type Break struct {
	AfterBlock int // from 1
	LengthMs   int64
}

// Session is one outing.
type Session struct {
	StartMs int64 // Unix time
	Blocks  int   // on each band
}

// Dwell is the time in which one arm stays connected on one band.
type Dwell struct {
	// Session counts from 1.
	Session int
	Band    string
	// Block counts from 1 within session and band, Position from 1 within the block.
	Block, Position int
	Arm             string
	// Start and End in UTC, End exclusive. What lies before SettleEnd is left out.
	Start, SettleEnd, End time.Time
}

// positions is how many dwells one block has on one band.
func (p Plan) positions() int {
	if p.Pattern == Mirrored {
		return 2 * len(p.Arms)
	}
	return len(p.Arms)
}

// check gives every reason why the plan can't be drawn.
func (p Plan) check() error {
	var faults []error
	fault := func(bad bool, format string, args ...any) {
		if bad {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	fault(len(p.Arms) == 0, "no arm is named")
	fault(len(p.Bands) == 0, "no band is named")
	fault(len(p.Sessions) == 0, "no session is named")
	fault(hasTwice(p.Arms), "an arm is named twice")
	fault(hasTwice(p.Bands), "a band is named twice")
	fault(p.Pattern != Pairs && p.Pattern != Mirrored, "pattern %q is neither %q nor %q", p.Pattern, Pairs, Mirrored)
	fault(p.Rotate != BandsWithinArm && p.Rotate != ArmsWithinBand,
		"rotate %q is neither %q nor %q", p.Rotate, BandsWithinArm, ArmsWithinBand)
	fault(!ValidSlot(p.SlotMs), "slots of %d ms do not divide the day into equal parts", p.SlotMs)
	fault(p.DwellMs <= 0 || p.DwellMs > dayMs, "a dwell of %d ms is not between 0 and one day", p.DwellMs)
	fault(p.SettleMs < 0 || p.SettleMs >= p.DwellMs, "a settling time of %d ms leaves nothing of a dwell of %d ms", p.SettleMs, p.DwellMs)
	fault(p.ArmChangeMs < 0 || p.ArmChangeMs > dayMs, "an arm change of %d ms is not between 0 and one day", p.ArmChangeMs)
	fault(p.BandChangeMs < 0 || p.BandChangeMs > dayMs, "a band change of %d ms is not between 0 and one day", p.BandChangeMs)
	for _, b := range p.Breaks {
		fault(b.AfterBlock < 1 || b.LengthMs < 0 || b.LengthMs > 7*dayMs,
			"a break of %d ms after block %d is not between 0 and one week after block 1 or a later one", b.LengthMs, b.AfterBlock)
	}
	return errors.Join(append(faults, p.checkSessions()...)...)
}

func (p Plan) checkSessions() []error {
	var faults []error
	room := MaxDwells / max(1, p.positions()*len(p.Bands))
	for i, s := range p.Sessions {
		if s.Blocks < 1 {
			faults = append(faults, fmt.Errorf("session %d has %d blocks", i+1, s.Blocks))
		}
		if s.StartMs < 0 || s.StartMs > lastStartMs {
			faults = append(faults, fmt.Errorf("session %d does not start between the years 1970 and 9999", i+1))
		}
		if room -= max(0, min(s.Blocks, MaxDwells)); room < 0 {
			return append(faults, fmt.Errorf("the schedule has more than %d dwells, the limit", MaxDwells))
		}
	}
	return faults
}

func hasTwice(names []string) bool {
	sorted := slices.Sorted(slices.Values(names))
	return len(slices.Compact(sorted)) < len(names)
}
