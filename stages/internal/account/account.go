// Package account holds what stages tell each other beside tables: small facts about the whole trial, as JSON.
package account

import "time"

// Trial is what the switch log made of the trial, as the stage of the dwells tells it.
type Trial struct {
	// Ended: the log says that the trial is over. EndedEarly: planned blocks were cut off by that.
	Ended      bool   `json:"ended"`
	EndedEarly bool   `json:"ended_early"`
	Losses     []Loss `json:"losses"`
	// Late tells of drops that were entered after the first look at the data; nil if none takes out a block.
	Late *LateDrops `json:"late_drops,omitempty"`
	// OneErection: some arm was put up only once.
	OneErection bool `json:"one_erection"`
	// PlainlyRegular says why an order declared as random plainly is not; "" if it may be.
	PlainlyRegular string `json:"plainly_regular"`
	// Warnings are those of the log.
	Warnings []Warning `json:"warnings"`
	// Events are what the log notes without a consequence for the dwells, in the order of time.
	Events []LogEvent `json:"events,omitempty"`
}

// Kinds of log events that verdicts and reports speak of, as they stand in the log.
const (
	Power     = "power"
	Deviation = "deviation"
	Remark    = "remark"
)

// LogEvent is one such line of the switch log. Kind is as in the log: power (its value in W), deviation, remark and so
// on. Where the line names no session or arm, it has those of the dwell begun last before it; Session and Block are 0,
// Band and Arm "" where they are not known. Value is nil where the line has none.
type LogEvent struct {
	Kind    string    `json:"kind"`
	Time    time.Time `json:"time"`
	Session int       `json:"session,omitempty"`
	Band    string    `json:"band,omitempty"`
	Block   int       `json:"block,omitempty"`
	Arm     string    `json:"arm,omitempty"`
	Value   *float64  `json:"value,omitempty"`
	Note    string    `json:"note,omitempty"`
}

// Loss tells how many of a band's scheduled blocks were lost: their share, and the two-sided p of the losses being
// unequal between the arms.
type Loss struct {
	Band  string  `json:"band"`
	Share float64 `json:"share"`
	P     float64 `json:"p"`
}

// LateDrops are the blocks that would count but for drops entered after the first look: how many there are, over all
// bands, and the losses without these drops.
type LateDrops struct {
	Blocks int    `json:"blocks"`
	Losses []Loss `json:"losses"`
}

// Warning is a doubt with its code; with a band it speaks of that band only. Where it speaks of one file, File names it
// and Text does not.
type Warning struct {
	Code string `json:"code"`
	Text string `json:"text"`
	Band string `json:"band,omitempty"`
	File string `json:"file,omitempty"`
}

// Said is the text as people read it, with the file before it.
func (w Warning) Said() string {
	if w.File == "" {
		return w.Text
	}
	return w.File + ": " + w.Text
}

// Intake says where the rows went.
type Intake struct {
	Read        int            `json:"read"`
	Used        int            `json:"used"`
	Merged      int            `json:"merged"`
	OutOfScope  int            `json:"out_of_scope"`
	Quarantined int            `json:"quarantined"`
	Reasons     map[string]int `json:"reasons"` // out of scope, by reason
	Clashes     int            `json:"clashes"` // merged reports that told another SNR
	Background  int            `json:"background"`
	// First and Last are the times of the earliest and latest report of the trial, background included: on its bands, in
	// its mode, within a day of its dwells; null without any.
	First *time.Time `json:"first"`
	Last  *time.Time `json:"last"`
	// Warnings are doubts about the files that belong beside every verdict.
	Warnings []Warning `json:"warnings,omitempty"`
}
