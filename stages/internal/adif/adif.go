// Package adif reads ADI text, the tag form of the open Amateur Data Interchange Format (ADIF 3.1.6, adif.org,
// 2025), and turns its records into reception reports.
//
// An ADI file is an optional header that ends with <EOH>, then records that end with <EOR>. Both hold data
// specifiers, <NAME:LENGTH> or <NAME:LENGTH:TYPE>, each followed by LENGTH bytes of data. Data may hold any byte, also
// "<" and the text "<EOR>", so only the lengths tell where a record ends. Text outside data is comment.
//
// A record tells of a contact between the station that kept the log and another one. RST_SENT is the report that the
// logging station gave: how the other was heard here. RST_RCVD is the report it got: how it was heard there. So a
// record gives up to two spots, and only where the mode's reports are in dB.
//
// The standard says nothing about damaged files. This reader refuses a record when a field that a spot rests on is
// missing, impossible or contradicts another, drops a field with a warning when the spot can do without it, and never
// guesses a value. Every finding has the byte offset and the line of the tag it speaks of.
//
// The package does not read ADX (the XML form), does not open files, and does not know stations, arms or schedules.
package adif

import (
	"time"
)

// MaxFileBytes is the size of the largest file that Read takes. A file is held in memory as a whole while it is read.
const MaxFileBytes = 2 << 30

// Limits within one record. They are far above what a log holds, and keep a hostile file from costing more than its
// size.
const (
	maxTagBytes = 256 // from "<" to ">"
	maxFields   = 300
	maxFindings = 100
)

// Severity tells what a finding does to its record.
type Severity int

const (
	// Warning leaves the record usable; at most one field was dropped or rewritten.
	Warning Severity = iota
	// Error refuses the record, or the file if the finding is about the whole file.
	Error
)

// String gives "warning" or "error".
func (s Severity) String() string {
	if s == Error {
		return "error"
	}
	return "warning"
}

// Finding is one thing that is wrong or doubtful in a file.
type Finding struct {
	Severity Severity
	// Kind is stable and lower case, for example "bad-call".
	Kind string
	// Offset is the byte offset of the "<" of the tag. For text behind data it is where that text begins, for a missing
	// field the record's first tag, for a missing end of record the size of the file, for the whole file 0.
	Offset int64
	// Line is the line of Offset, from 1.
	Line int
	// Record is the number of the record, from 1; 0 for the header and the whole file.
	Record int
	// Field is the name of the field in capitals, or "".
	Field string
	// Value is what the file says, cut to a readable length.
	Value string
	// Msg is one sentence without a full stop that names field and value.
	Msg string
	// Mend says what to do.
	Mend string
}

// Spot is one reception report: Receiver heard Transmitter.
type Spot struct {
	// Record is the number of the record the spot comes from, Line the line on which that record begins.
	Record int
	Line   int
	// Time is in UTC. Without HasSeconds it is the start of a minute, and a slot shorter than that can't be told.
	Time       time.Time
	HasSeconds bool
	// Band is a name of Bands. Mode and Submode are in capitals; Submode is "" if there is none.
	Band, Mode, Submode string
	// Transmitter and Receiver are calls in capitals.
	Transmitter, Receiver string
	SNRdB                 float64
	// FrequencyMHz is nil if the file does not tell.
	FrequencyMHz *float64
	// Locators are written as AA00aa00aa00, "" if the file has none that can be used.
	TransmitterLocator, ReceiverLocator string
	// PowerW is the transmitter's power, nil if the file does not tell.
	PowerW *float64
	// From is "RST_SENT" or "RST_RCVD".
	From string
}

// Record is one record of the file, accepted or not.
type Record struct {
	// N counts the records from 1. Line is the line of the record's first tag.
	N    int
	Line int
	// Accepted is false if a finding of the record is an Error.
	Accepted bool
	// Call, Station and Time are the contacted and the logging station and the start, of an accepted record.
	Call, Station string
	Time          time.Time
	// Fields holds the data as written under names in capitals, the first value of a repeated field, and no empty
	// data. It is nil unless Options.KeepFields is set.
	Fields map[string]string
	// Spots holds none, one or two spots, the one from RST_SENT first.
	Spots []Spot
	// NoSpot says why an accepted record gives no spot, and is "" otherwise.
	NoSpot string
	// Findings are ordered by offset.
	Findings []Finding
}

// Header is what stands before <EOH>.
type Header struct {
	// Text is the comment before the first tag, without the blanks around it.
	Text string
	// Fields holds the data as written under names in capitals, USERDEF fields left out.
	Fields map[string]string
	// UserDefs are the fields that the file defines, in file order.
	UserDefs []UserDef
}

// UserDef is the definition of a user's own field, USERDEFn.
type UserDef struct {
	N    int
	Name string
	// Type is the type indicator as a capital letter, "" if there is none.
	Type string
	// Enum lists the values allowed; nil if there is no list.
	Enum []string
	// Range is the lowest and the highest value allowed; nil if there is none.
	Range *[2]float64
}

// Summary tells what was read.
type Summary struct {
	// Header is nil if the file has none.
	Header *Header
	// Findings are those about the whole file and the header.
	Findings []Finding
	// Rejected is true if the file is no ADI text at all; Findings then say what it looks like.
	Rejected bool
	// Records counts all records, Accepted those without an error.
	Records, Accepted int
}
