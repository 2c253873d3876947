package spots

import (
	"cmp"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// controlSchema: who heard the control station in the own station's slots. It stays inside the store.
func controlSchema() *arrow.Schema {
	str, num, whole := arrow.BinaryTypes.String, arrow.PrimitiveTypes.Float64, arrow.PrimitiveTypes.Int64
	fields := []arrow.Field{
		{Name: "receiver", Type: str}, {Name: "slot", Type: datasets.Time}, {Name: "band", Type: str},
		{Name: "locator", Type: str, Nullable: true}, {Name: "latitude", Type: num, Nullable: true}, {Name: "longitude", Type: num, Nullable: true},
		{Name: "session", Type: whole}, {Name: "block", Type: whole}, {Name: "arm", Type: str}, {Name: "snr_db", Type: num},
	}
	meta := arrow.MetadataFrom(map[string]string{"table": "control", "sort": "receiver,slot,band", "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

// heardControl is one report of the control station.
type heardControl struct {
	receiver, band string
	at             place
	dwell          int32
	slot           int64 // Unix µs
	snrDB          float64
}

// hearControl finds, in any file, the reports of the control station that would be used if the own station had been
// heard. Where they count in the account is as before: the rows of others, or background.
func (s *placing) hearControl(n int) []heardControl {
	var out []heardControl
	rows := s.files[n]
	for i := range rows.len() {
		r := rows.row(i)
		if s.Control == "" || r.tx != s.Control {
			continue
		}
		r.tx = s.Calls[0]
		to := placed{file: int32(n), row: int32(i), at: r.at.UnixMicro(), snrDB: r.snrDB}
		if s.place(&to, &r); to.fate == used {
			out = append(out, heardControl{r.rx, r.band, r.rxAt, to.dwell, to.slot, r.snrDB})
		}
	}
	return out
}

// encodeControl keeps the greatest of several reports of one receiver in one slot; of equal ones that which tells its place
// most exactly.
func (s *placing) encodeControl(all []heardControl) arrow.Record {
	slices.SortFunc(all, func(a, b heardControl) int {
		return cmp.Or(a.compareKey(b), cmp.Compare(b.snrDB, a.snrDB), compareToldFirst(a.at.lat, b.at.lat), compareToldFirst(a.at.lon, b.at.lon),
			cmp.Compare(len(b.at.locator), len(a.at.locator)), cmp.Compare(a.at.locator, b.at.locator))
	})
	all = slices.CompactFunc(all, func(a, b heardControl) bool { return a.compareKey(b) == 0 })
	b := table.NewBuilder(controlSchema())
	for _, h := range all {
		d := &s.calendar.dwells[h.dwell]
		b.Append(h.receiver, time.UnixMicro(h.slot).UTC(), h.band, toldText(h.at.locator), told(h.at.lat), told(h.at.lon), d.session, d.block, d.arm, h.snrDB)
	}
	return b.Record()
}

func (h heardControl) compareKey(o heardControl) int {
	return cmp.Or(cmp.Compare(h.receiver, o.receiver), cmp.Compare(h.slot, o.slot), cmp.Compare(h.band, o.band))
}
