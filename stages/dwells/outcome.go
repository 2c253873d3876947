package dwells

import (
	"time"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule"
)

// Params are the fixed values that the log is judged by.
type Params struct {
	SlotMs, SettleMs int64
	Sends            string // as in package schedule
	// File is the log's name, for findings.
	File string
	// UntilMs is Unix time: dwells that begin later are not called unconfirmed. 0 = the whole schedule.
	UntilMs int64
}

// Why a block does not count. A Reason begins with one of these.
const (
	NotRun       = "not run"
	PausedInside = "paused inside"
	Dropped      = "dropped"
	LateSwitch   = "late switch"
)

// Applied is one planned dwell as it really happened.
type Applied struct {
	schedule.Dwell // with real times
	// Kept tells whether the dwell counts; all dwells of a block are kept or none.
	Kept bool
	// Reason is empty if the dwell is kept, else a code, and words after a colon: "dropped: rain".
	Reason string
	// LateS is how many seconds after the dwell's start its arm was confirmed; 0 if in time or never.
	LateS float64
	// Confirmed tells whether the log says that the arm was connected.
	Confirmed bool
	// LeadingSlotsRemoved counts the own slots that a late switch took from every dwell of the block.
	LeadingSlotsRemoved int
}

// Session is what happened to the clock of one session.
type Session struct {
	Session int
	// ShiftS is by how much the start moved, PausedS by how much its pauses moved its end, in seconds.
	ShiftS, PausedS float64
	// ClockOffsetS is the largest clock reading in size, log's clock minus UTC, in seconds.
	ClockOffsetS float64
	// Ended tells whether the log ends the session, or the trial in it.
	Ended bool
}

// Loss tells how many blocks of one band were lost, up to a logged end.
type Loss struct {
	Band string
	// Scheduled leaves out the blocks that a logged end cut off.
	Scheduled, Lost int
	// LostShare is Lost / Scheduled, from 0 to 1; 0 if nothing was scheduled.
	LostShare float64
	// ByArm counts the lost blocks by the arm connected when the reason occurred, all arms of the schedule
	// in alphabetical order. A loss whose arm is not known counts in Lost only.
	ByArm []ArmLoss
	// LossP is the two-sided binomial p value of the hypothesis that a loss meets each arm equally often:
	// twice the smaller tail, at most 1; with more than two arms the smallest of them times their number.
	LossP float64
}

// ArmLoss is the number of blocks lost while an arm was connected.
type ArmLoss struct {
	Arm  string
	Lost int
}

// Outcome is the trial as carried out.
type Outcome struct {
	// Dwells stand in the order of the plan, none left out, the arms unchanged.
	Dwells   []Applied
	Sessions []Session // in the order of the plan
	Losses   []Loss    // bands in the order of the plan
	// Ended tells whether the log ends the trial, or its last session. EndedEarly tells whether an end cut
	// off any planned block: the number of blocks was then not fixed beforehand.
	Ended, EndedEarly bool
	// Unconfirmed is the share of dwells without a connected event, of those in blocks that were run and
	// that begin by UntilMs, from 0 to 1.
	Unconfirmed float64
	// Notes holds the events power, battery, clock, radio_clock, deviation and remark, as corrected, in the
	// order of time. Where one names no session or arm, it has those of the dwell begun last before it.
	Notes []Event
}

// The codes of findings.
const (
	CodeNoLog       = "no_log"
	CodeUnconfirmed = "unconfirmed"
	CodeWrongArm    = "wrong_arm"
	CodeNoDwell     = "no_dwell"
	CodeLateSwitch  = "late_switch"
	CodeDropReason  = "drop_reason"
	CodeClock       = "clock"
	CodeRadioClock  = "radio_clock"
	CodeStartTwice  = "start_twice"
	CodePauseOrder  = "pause_order"
	CodeAfterEnd    = "after_end"
	CodeOverlap     = "overlap"
	CodeUnknown     = "unknown_name"
)

// unconfirmedLimit is the share of unconfirmed dwells above which a warning is due.
const unconfirmedLimit = 0.20

// Apply moves the planned dwells to what the log says. planned must be sorted by start. The list holds
// faults, after which the outcome must not be used, and warnings; each has a code. Without any event the
// planned times count; without any dwell there is nothing to say.
func Apply(planned []schedule.Dwell, events []Event, p Params) (Outcome, diag.List) {
	if len(planned) == 0 {
		return Outcome{}, nil
	}
	t := newTrial(planned, p)
	if len(events) == 0 {
		what := "there is no switch log"
		if p.File != "" {
			what = "the switch log has no events"
		}
		t.list = append(t.list, diag.Diag{
			Pos: diag.Pos{File: p.File}, Severity: diag.Warning, Code: CodeNoLog,
			Msg:  what + ": the planned times count, and nothing shows that they were kept",
			Mend: "write one line for each arm that is connected into the log (fairlobe help log)",
		})
		return t.outcome(false), t.list.Sort()
	}
	t.takeEvents(events)
	if len(t.list.Faults()) > 0 {
		return t.outcome(false), t.list.Sort()
	}
	t.correctClocks()
	t.shiftStarts()
	t.applyPauses()
	t.applyEnds()
	t.checkOverlap()
	t.applyDrops()
	t.applyConnected()
	t.applyLateSwitches()
	return t.outcome(true), t.list.Sort()
}

// seconds of a length of time.
func seconds(d time.Duration) float64 { return d.Seconds() }
