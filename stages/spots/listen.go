package spots

import (
	"cmp"
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

// listener is a station that reported another transmitter in a dwell, so that it was listening then.
type listener struct {
	receiver string
	start    int64 // of the dwell, Unix µs
}

// listen adds what a background file tells. A row is taken that would be placed, had the own station sent.
func (s *placing) listen(into map[listener]bool, n int) {
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
			into[listener{r.rx, s.calendar.dwells[at].start}] = true
		}
	}
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
