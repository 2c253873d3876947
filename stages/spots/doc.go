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
// Spots does not know where a station is, and does not judge.
package spots

import (
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// Why a row is out of scope. The texts stand in the table's column fate.
const (
	FateUsed      = "used"
	FateMerged    = "merged"
	fateNoReport  = "no report in dB"
	fateOther     = "between other stations"
	fateBand      = "band not in the schedule"
	fateMode      = "other mode"
	fateSeconds   = "time without seconds"
	fateNoSlot    = "time fits no slot"
	fateNotOwn    = "slot in which the station did not send"
	fateSending   = "slot in which the station was sending"
	fateOutside   = "outside the schedule"
	fateSettling  = "within the settle time"
	fateDropped   = "block does not count"
	directionSent = "sent"
	directionRcvd = "received"
	directionNone = "other"
)

// place is where a station of a row says it is.
type place struct {
	locator  string
	lat, lon *float64
}

// row is one report as it stands in a file, typed.
type row struct {
	line         int
	at           time.Time
	hasSeconds   bool
	tx, rx       string
	txAt, rxAt   place
	band         string
	frequencyMHz *float64
	snrDB        *float64
	powerW       *float64
	mode         string
	submode      string
	slotS        *float64
	noReport     string // why there is no SNR, if there is none
}

// rowsSchema is the form of a reading stage's rows. It stays inside the store.
func rowsSchema(name string) *arrow.Schema {
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
	meta := arrow.MetadataFrom(map[string]string{"table": name, "sort": "line", "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

func encodeRows(b *table.Builder, rows []row) arrow.Record {
	for _, r := range rows {
		b.Append(r.line, r.at, r.hasSeconds, r.tx, r.rx,
			r.txAt.locator, r.txAt.lat, r.txAt.lon, r.rxAt.locator, r.rxAt.lat, r.rxAt.lon,
			r.band, r.frequencyMHz, r.snrDB, r.powerW, r.mode, r.submode, r.slotS, r.noReport)
	}
	return b.Record()
}

func decodeRows(rec arrow.Record) []row {
	out := make([]row, 0, rec.NumRows())
	for r := table.NewReader(rec); r.Next(); {
		out = append(out, row{
			line: int(r.Int("line")), at: r.Time("time"), hasSeconds: r.Bool("has_seconds"),
			tx: r.Str("transmitter"), rx: r.Str("receiver"),
			txAt: place{r.Str("transmitter_locator"), r.FloatOrNil("transmitter_latitude"), r.FloatOrNil("transmitter_longitude")},
			rxAt: place{r.Str("receiver_locator"), r.FloatOrNil("receiver_latitude"), r.FloatOrNil("receiver_longitude")},
			band: r.Str("band"), frequencyMHz: r.FloatOrNil("frequency_mhz"), snrDB: r.FloatOrNil("snr_db"),
			powerW: r.FloatOrNil("power_w"), mode: r.Str("mode"), submode: r.Str("submode"),
			slotS: r.FloatOrNil("slot_s"), noReport: r.Str("no_report"),
		})
	}
	return out
}

// refusal is a row that can't be used.
type refusal struct {
	line          int
	column, value string
	reason        string
}

func encodeRefusals(b *table.Builder, file string, refused []refusal) arrow.Record {
	for _, r := range refused {
		b.Append(file, r.line, orNull(r.column), orNull(r.value), r.reason)
	}
	return b.Record()
}

func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
