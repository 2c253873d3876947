// Package spots turns spot files into the table of spots and the quarantine.
//
// There are two kinds of stage. A reading stage takes one file to typed rows and refused rows; it knows
// neither arms nor schedule, so a changed log or schedule reads no file again. The placing stage sets the
// rows of all files into the dwells, merges reports that stand in more than one place, and gives every row
// its fate. For each file, rows read = used + merged + out of scope + quarantined.
//
// A report's key is (transmitter, receiver, band, slot). Reports with one key are one report: the
// greatest SNR is kept and the others are merged, whatever file they stand in and in whatever order.
//
// Background files tell of other transmitters. Of them only the set of (receiver, dwell) is kept, and from where the
// receivers say that they listen: a station that reported another transmitter in the trial's mode and band was listening
// then. A report of the own station says
// nothing of that kind, for whether it exists is what the trial asks.
//
// Spots does not know where a station is, and does not judge.
package spots

import (
	"math"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// The fates of a row that lies in the trial. All other fates say why a row is out of scope.
const (
	FateUsed   = "used"
	FateMerged = "merged"
)

// fate numbers what became of a row.
type fate uint8

const (
	used fate = iota
	merged
	noReport
	betweenOthers
	otherBand
	otherMode
	noSeconds
	noSlot
	notOwnSlot
	whileSending
	outside
	settling
	blockDropped
	droppedLate // but for a drop entered after the first look the row would be used
)

// String gives the text that stands in the table's column fate.
func (f fate) String() string {
	return [...]string{
		FateUsed, FateMerged, "no report in dB", "between other stations", "band not in the schedule", "other mode",
		"time without seconds", "time fits no slot", "slot in which the station did not send",
		"slot in which the station was sending", "outside the schedule", "within the settle time", "block does not count",
		datasets.FateDroppedLate,
	}[f]
}

// direction tells which way a report goes.
type direction uint8

const (
	sent direction = iota
	received
	other // between two other stations, or from the own station to itself
)

// String gives the text that stands in the table's column direction.
func (d direction) String() string { return [...]string{"sent", "received", "other"}[d] }

// place is where a station of a row says it is. Degrees that are not told are NaN.
type place struct {
	locator  string
	lat, lon float64
}

// row is one report as it stands in a file, typed. Numbers that are not told are NaN, texts "".
type row struct {
	line         int
	at           time.Time
	hasSeconds   bool
	tx, rx       string
	txAt, rxAt   place
	band         string
	frequencyMHz float64
	snrDB        float64
	powerW       float64
	mode         string
	submode      string
	slotS        float64
	noReport     string // why there is no SNR, if there is none
}

// emptyRow tells nothing.
func emptyRow() row {
	nan := math.NaN()
	nowhere := place{lat: nan, lon: nan}
	return row{txAt: nowhere, rxAt: nowhere, frequencyMHz: nan, snrDB: nan, powerW: nan, slotS: nan}
}

// rowsSchema is the form of a reading stage's rows. It stays inside the store.
func rowsSchema() *arrow.Schema {
	text, number := arrow.BinaryTypes.String, arrow.PrimitiveTypes.Float64
	fields := []arrow.Field{
		{Name: "line", Type: arrow.PrimitiveTypes.Int64},
		{Name: "time", Type: datasets.Time},
		{Name: "has_seconds", Type: arrow.FixedWidthTypes.Boolean},
		{Name: "transmitter", Type: text},
		{Name: "receiver", Type: text},
		{Name: "transmitter_locator", Type: text},
		{Name: "transmitter_latitude", Type: number, Nullable: true},
		{Name: "transmitter_longitude", Type: number, Nullable: true},
		{Name: "receiver_locator", Type: text},
		{Name: "receiver_latitude", Type: number, Nullable: true},
		{Name: "receiver_longitude", Type: number, Nullable: true},
		{Name: "band", Type: text},
		{Name: "frequency_mhz", Type: number, Nullable: true},
		{Name: "snr_db", Type: number, Nullable: true},
		{Name: "power_w", Type: number, Nullable: true},
		{Name: "mode", Type: text},
		{Name: "submode", Type: text},
		{Name: "slot_s", Type: number, Nullable: true},
		{Name: "no_report", Type: text},
	}
	meta := arrow.MetadataFrom(map[string]string{"table": "rows", "sort": "line", "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

func appendRow(b *table.Builder, r *row) {
	b.Append(r.line, r.at, r.hasSeconds, r.tx, r.rx,
		r.txAt.locator, told(r.txAt.lat), told(r.txAt.lon), r.rxAt.locator, told(r.rxAt.lat), told(r.rxAt.lon),
		r.band, told(r.frequencyMHz), told(r.snrDB), told(r.powerW), r.mode, r.submode, told(r.slotS), r.noReport)
}

// told gives a number as a table wants it: nil for NaN.
func told(v float64) any {
	if math.IsNaN(v) {
		return nil
	}
	return v
}

// toldText gives a text as a table wants it: nil for "".
func toldText(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// rowTable gives the rows of a table made by a reading stage one by one, without a copy of the whole.
type rowTable struct {
	line                               *array.Int64
	time                               *array.Timestamp
	seconds                            *array.Boolean
	tx, rx, txLocator, rxLocator       *array.String
	txLat, txLon, rxLat, rxLon         *array.Float64
	band, mode, submode, noReport      *array.String
	frequencyMHz, snrDB, powerW, slotS *array.Float64
}

func newRowTable(rec arrow.Record) *rowTable {
	text := func(name string) *array.String { return table.Strings(rec, name) }
	number := func(name string) *array.Float64 { return table.Floats(rec, name) }
	return &rowTable{
		line: table.Ints(rec, "line"), time: table.Times(rec, "time"), seconds: table.Bools(rec, "has_seconds"),
		tx: text("transmitter"), rx: text("receiver"), txLocator: text("transmitter_locator"), rxLocator: text("receiver_locator"),
		txLat: number("transmitter_latitude"), txLon: number("transmitter_longitude"),
		rxLat: number("receiver_latitude"), rxLon: number("receiver_longitude"),
		band: text("band"), mode: text("mode"), submode: text("submode"), noReport: text("no_report"),
		frequencyMHz: number("frequency_mhz"), snrDB: number("snr_db"), powerW: number("power_w"), slotS: number("slot_s"),
	}
}

func (t *rowTable) len() int { return t.line.Len() }

func (t *rowTable) at(i int) time.Time { return time.UnixMicro(int64(t.time.Value(i))).UTC() }

func (t *rowTable) row(i int) row {
	return row{
		line: int(t.line.Value(i)), at: t.at(i), hasSeconds: t.seconds.Value(i),
		tx: t.tx.Value(i), rx: t.rx.Value(i),
		txAt: place{t.txLocator.Value(i), numberAt(t.txLat, i), numberAt(t.txLon, i)},
		rxAt: place{t.rxLocator.Value(i), numberAt(t.rxLat, i), numberAt(t.rxLon, i)},
		band: t.band.Value(i), frequencyMHz: numberAt(t.frequencyMHz, i), snrDB: numberAt(t.snrDB, i),
		powerW: numberAt(t.powerW, i), mode: t.mode.Value(i), submode: t.submode.Value(i),
		slotS: numberAt(t.slotS, i), noReport: t.noReport.Value(i),
	}
}

func numberAt(a *array.Float64, i int) float64 {
	if a.IsNull(i) {
		return math.NaN()
	}
	return a.Value(i)
}
