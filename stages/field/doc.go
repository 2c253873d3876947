// Package field keeps a randomised trial going while it is carried out: it knows what is to be connected
// when, takes what the operator says was done, and appends it to the switch log, one line for each entry.
//
// Model: the state of a session is the planned schedule and the switch log, and nothing else. After every
// entry package dwells applies the whole log to the schedule again, as the analysis will, so that the field
// and the verdict can't disagree on what an entry means: a late switch, a pause inside a block, a clock that
// was wrong. What an entry would do is found the same way before it is written; a line that would make the
// log unusable is not written, with the reason.
//
// # The log
//
// An entry is one line, written by one write at the end of the file and pushed to the disk before the
// operator is told that it is there. A line is whole once its line feed is there. What a crash inside a write
// leaves behind is therefore the text after the last line feed: on opening, it is finished if it is a whole
// event, and else moved to a file beside the log (.torn), so that nothing is thrown away. Text up to the last
// line feed is never touched. Only one process at a time may have the log open.
//
// # Time
//
// The package has no clock: every call says what time it is. Times in the log are those of the machine's
// clock, which a clock reading then corrects (package dwells); what is shown is corrected by the latest
// reading. Where the clock was set back, entered keeps the order of the log.
//
// The package draws no terminal and keys no transmitter: Keeper and Paper take text and give text. It never
// changes which arm a dwell counts for.
package field
