package spots

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
	"fairlobe/stages/schedule"
)

// backgroundSchema: who was heard to be listening in which dwell. It stays inside the store.
func backgroundSchema() *arrow.Schema {
	fields := []arrow.Field{
		{Name: "receiver", Type: arrow.BinaryTypes.String},
		{Name: "start", Type: datasets.Time},
	}
	meta := arrow.MetadataFrom(map[string]string{"table": "background", "sort": "receiver,start", "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

// listenersSchema: from where the stations of table background say that they listen. It stays inside the store.
func listenersSchema() *arrow.Schema {
	num := arrow.PrimitiveTypes.Float64
	fields := []arrow.Field{
		{Name: "receiver", Type: arrow.BinaryTypes.String},
		{Name: "locator", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "latitude", Type: num, Nullable: true}, {Name: "longitude", Type: num, Nullable: true},
	}
	meta := arrow.MetadataFrom(map[string]string{"table": "listeners", "sort": "receiver,locator,latitude,longitude", "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

// listener is a station that reported another transmitter in a dwell, so that it was listening then.
type listener struct {
	receiver string
	start    int64 // of the dwell, Unix µs
}

// toldPlace is where a receiver says that it listens. What is not told is "" or -Inf, so that equal ones compare equal.
type toldPlace struct {
	receiver, locator string
	lat, lon          float64
}

// heardListening is all that the background files tell.
type heardListening struct {
	dwells map[listener]bool
	places map[toldPlace]bool
}

// listen adds what a background file tells. A row is taken that would be placed, had the own station sent.
func (s *placing) listen(into heardListening, n int) {
	rows := s.files[n]
	for i := range rows.len() {
		r := rows.row(i)
		if r.noReport != "" || slices.Contains(s.Calls, r.tx) || slices.Contains(s.Calls, r.rx) ||
			!s.sameMode(&r) || !r.hasSeconds && s.SlotMs < 60_000 {
			continue
		}
		slot, ok := schedule.SlotOf(r.at, s.SlotMs, s.Files[n].TimeIs)
		if !ok {
			continue
		}
		if at := s.calendar.at(slot.UnixMicro()); at != nowhere && s.calendar.dwells[at].band == r.band {
			into.dwells[listener{r.rx, s.calendar.dwells[at].start}] = true
			into.places[placeTold(&r)] = true
		}
	}
}

func placeTold(r *row) toldPlace {
	p := toldPlace{r.rx, r.rxAt.locator, r.rxAt.lat, r.rxAt.lon}
	if math.IsNaN(p.lat) || math.IsNaN(p.lon) {
		p.lat, p.lon = math.Inf(-1), math.Inf(-1)
	}
	return p
}

func encodeListeners(set map[toldPlace]bool) arrow.Record {
	all := slices.SortedFunc(maps.Keys(set), func(a, b toldPlace) int {
		return cmp.Or(cmp.Compare(a.receiver, b.receiver), cmp.Compare(a.locator, b.locator), cmp.Compare(a.lat, b.lat), cmp.Compare(a.lon, b.lon))
	})
	b := table.NewBuilder(listenersSchema())
	for _, p := range all {
		var lat, lon any
		if !math.IsInf(p.lat, -1) {
			lat, lon = p.lat, p.lon
		}
		b.Append(p.receiver, toldText(p.locator), lat, lon)
	}
	return b.Record()
}

func encodeListening(set map[listener]bool) arrow.Record {
	all := make([]listener, 0, len(set))
	for l := range set {
		all = append(all, l)
	}
	slices.SortFunc(all, func(a, b listener) int {
		return cmp.Or(cmp.Compare(a.receiver, b.receiver), cmp.Compare(a.start, b.start))
	})
	b := table.NewBuilder(backgroundSchema())
	for _, l := range all {
		b.Append(l.receiver, time.UnixMicro(l.start).UTC())
	}
	return b.Record()
}
