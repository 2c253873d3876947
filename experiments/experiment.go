package experiments

import (
	"time"

	"fairlobe/pipeline/diag"
)

// Experiment is an experiment file, decoded, with defaults filled in and every value checked.
// Units are in the names, times are UTC, lists keep the order of the file.
type Experiment struct {
	Title    string
	Question string
	// SmallestDB is the smallest difference that matters in practice, dB, above 0.
	SmallestDB float64
	// SmallestPoints is the same for a heard_by claim, percentage points.
	SmallestPoints float64
	// Seed feeds every random stream. HasSeed is false when the file names none.
	Seed    uint64
	HasSeed bool

	Station  Station
	Control  *Control
	Fixed    Fixed
	Arms     []Arm
	Schedule Schedule
	Claims   []Claim
	Spots    []SpotSource
	Sweeps   []SweepSource
	// Switches is the path of the switch log below DataDir, slash-separated; "" if there is none.
	Switches string

	// File is the path as the user gave it; Dir its folder; Name its base without ".toml".
	File, Dir, Name string
	// DataDir is the folder of spots, sweeps and log.
	DataDir string

	places map[string]diag.Pos
	root   *node // the file as it was read; nil if it was not
}

// Station is the operator's own station.
type Station struct {
	// Call is upper case.
	Call string
	// Also holds other spellings of the same transmitter, upper case.
	Also []string
	// Locator has 4 to 12 characters, canonical ("MN83kp").
	Locator string
	Ground  Ground
	// File is set when the station stands in a file of its own.
	File string
}

// Calls gives every spelling of the station's call.
func (s Station) Calls() []string { return append([]string{s.Call}, s.Also...) }

// Ground is the soil under the antenna: a named kind, or its two constants.
type Ground struct {
	Name            string // "poor", "average", "good", "sea"; "" when the constants are given
	Permittivity    float64
	ConductivitySPM float64
}

// Control is a station that transmits in the same slots.
type Control struct{ Call, Locator string }

// Fixed are the controlled variables held the same for all arms.
type Fixed struct {
	Mode string
	// Slot is the mode's transmit period.
	Slot time.Duration
	// CutDB is the level, in dB, above which whatever was sent counts as decoded (statistics: c).
	CutDB float64
	// Sends tells in which slots the station transmits: "every slot", "even slots", "odd slots", "as logged".
	Sends string
	// AzimuthReference is "true" or "magnetic"; DeclinationDeg is east positive. SlopeAzimuthDeg values are
	// already turned to true north.
	AzimuthReference string
	DeclinationDeg   float64
	// Variables are the typed variables of [fixed], sorted by name.
	Variables []Variable
	// Other is shown and compared, never calculated with; sorted by name.
	Other []Variable
}

// Arm is one antenna configuration under test.
type Arm struct {
	Name      string
	Variables []Variable // sorted by name
	// Other is what differs beside the typed variables, as in Fixed; sorted by name.
	Other []Variable
}

// Variable is one typed variable. Value is a float64, string, bool, Loss or []Wire.
type Variable struct {
	Name  string
	Value any
}

// Loss is a feedline's matched loss at one frequency, with the constants of the line.
type Loss struct {
	DB             float64
	AtMHz          float64
	VelocityFactor float64
	Z0Ohm          float64
}

// Wire is one straight piece: ends in metres (x east, y north, z up) and its diameter.
type Wire struct {
	FromM, ToM [3]float64
	DiameterMM float64
}

// Schedule says when each arm is on the air.
type Schedule struct {
	Bands []string
	// Blocks is per band, over all sessions.
	Blocks     int
	Dwell      time.Duration
	Settle     time.Duration
	Pattern    string // "pairs" or "mirrored"
	Changeover string // "by hand" or "switch"
	ArmChange  time.Duration
	BandChange time.Duration
	Rotate     string // "bands within arm" or "arms within band"
	Breaks     []Break
	// SpotInterval tells how often a receiver's reports are passed on; 0 = every decode.
	SpotInterval time.Duration
	Stopping     string // "fixed" or "open"
	Sessions     []Session
	// File is a schedule drawn elsewhere, relative to Dir; then only Settle, SpotInterval, Stopping,
	// Order and Changeover of this struct are set.
	File string
	// Order says how File's order was made: "random" or "not random".
	Order string
}

// Break is a pause after a block of each session.
type Break struct {
	AfterBlock int
	Length     time.Duration
}

// Session is one outing.
type Session struct {
	Start    time.Time
	Blocks   int
	Erection map[string]int // arm -> number of its putting-up; 1 where the file does not say
}

// Claim is one sentence that the data can bear out or not.
type Claim struct {
	Name string
	Kind string
	// Arms: two for a comparison (first minus second), one or more for the other kinds.
	Arms      []string
	Compares  bool   // written as compare = [..]
	Direction string // "sent" or "received"
	// WithinKm limits the stations by distance; nil = all.
	WithinKm *[2]float64
	Bands    []string
	// Shape of a directivity claim: "one-sided", "two-sided", "any".
	Shape string
	// TowardDeg is the axis named beforehand, true north; TowardPredicted when it says "predicted".
	TowardDeg       *float64
	TowardPredicted bool
	// Frame of a directivity claim is what its directions are told from when several experiments are put together: "wire" (the
	// way in which the wires of its arms run, which is one) or "north"; "" if it is not stated.
	Frame string
	// SWRAtMost, FromMHz, ToMHz belong to a match claim; FromMHz and ToMHz are nil for the band's edges.
	SWRAtMost      float64
	FromMHz, ToMHz *float64
	StepDB         *float64
	SmallestPoints float64
}

// Column tells where a value of a table comes from: columns of the file by name (or by number, from 1, when
// the file has no header), or one value for every row.
type Column struct {
	Columns []string
	Unit    string // "" = the unit of the name on the left
	Value   *string
}

// TableForm describes delimited text.
type TableForm struct {
	Columns    map[string]Column // left-hand name -> where it stands
	Delimiter  byte
	Header     bool
	TimeLayout string
}

// SpotSource is one [[spots]] table.
type SpotSource struct {
	Files    []string // patterns below DataDir
	Format   string   // "adif", "table", "parquet", "arrow"
	SeenFrom string   // "me" or "receiver"
	Role     string   // "trial" or "background"
	TimeIs   string   // "slot start", "slot end", "within slot"
	Table    TableForm
}

// usualZ0Ohm is what SWR refers to unless a sweep says otherwise.
const usualZ0Ohm = 50.0

// SweepSource is one [[sweeps]] table.
type SweepSource struct {
	Arm    string
	Files  []string
	Format string  // "touchstone" or "table"
	At     string  // "radio" or "feedpoint"
	Z0Ohm  float64 // what SWR and return loss refer to
	Table  TableForm
}

// Pos gives the place of a key, such as "schedule.blocks", "arm[1].name" or "claim[0].compare"; for a key
// that is not written, the place of the table that would hold it.
func (e *Experiment) Pos(path string) diag.Pos {
	for {
		if p, ok := e.places[path]; ok {
			return p
		}
		cut := lastDot(path)
		if cut < 0 {
			return diag.Pos{File: e.File, Line: 1, Column: 1}
		}
		path = path[:cut]
	}
}

func lastDot(path string) int {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '.' {
			return i
		}
	}
	return -1
}

// Arm gives the arm of that name.
func (e *Experiment) Arm(name string) (Arm, bool) {
	for _, a := range e.Arms {
		if a.Name == name {
			return a, true
		}
	}
	return Arm{}, false
}

// Number gives a numeric variable of an arm: its own, else the fixed one.
func (e *Experiment) Number(arm, variable string) (float64, bool) {
	a, _ := e.Arm(arm)
	for _, list := range [][]Variable{a.Variables, e.Fixed.Variables} {
		for _, v := range list {
			if v.Name == variable {
				f, ok := v.Value.(float64)
				return f, ok
			}
		}
	}
	return 0, false
}
