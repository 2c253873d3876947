package spots

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/schedule"
)

// Source is a file as the placing stage sees it.
type Source struct {
	Name          string
	Rows, Refused string // outputs of its reading stage
	TimeIs        string // "slot start", "slot end", "within slot"
	Background    bool
}

// Params are the placing stage's parameters.
type Params struct {
	Calls  []string // own call first, then its other spellings
	Bands  []string
	Mode   string
	SlotMs int64
	Sends  string
	Files  []Source // sorted by name
}

// Names of the placing stage's outputs.
const (
	TableSpots      = "spots"
	TableBackground = "background"
	FileIntake      = "intake.json"
)

// Place makes the stage that sets the rows of all files into the dwells.
func Place(p Params) pipeline.Stage {
	needs := []string{"dwells"}
	for _, f := range p.Files {
		needs = append(needs, f.Rows, f.Refused)
	}
	slices.Sort(needs)
	return pipeline.Stage{
		Name: "spots", Version: 1, Needs: needs, Params: p,
		Makes: []pipeline.Output{
			{Name: TableSpots, Schema: datasets.Spots()},
			{Name: TableBackground, Schema: backgroundSchema()},
			{Name: FileIntake},
		},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return p.run(in) },
	}
}

// backgroundSchema: who was heard to be listening in which dwell. It stays inside the store.
func backgroundSchema() *arrow.Schema {
	fields := []arrow.Field{
		{Name: "receiver", Type: arrow.BinaryTypes.String},
		{Name: "start", Type: datasets.Time},
	}
	meta := arrow.MetadataFrom(map[string]string{"table": "background", "sort": "receiver,start", "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

// placed is a row with what became of it.
type placed struct {
	row
	source    string
	direction string
	far       place
	slot      time.Time
	hasSlot   bool
	dwell     *dwell
	fate      string
}

// dwell is the part of the dwells table that this stage needs.
type dwell struct {
	session, block, position   int64
	band, arm                  string
	start, settleEnd, dwellEnd time.Time
	kept                       bool
}

func (p Params) run(in *pipeline.Input) (*pipeline.Result, error) {
	dwells := readDwells(in.Table("dwells"))
	var all []placed
	listening := map[listener]bool{}
	var intake account.Intake
	var notes diag.List
	for _, f := range p.Files {
		intake.Quarantined += int(in.Table(f.Refused).NumRows())
		rows := decodeRows(in.Table(f.Rows))
		span(&intake, rows)
		if f.Background {
			intake.Background += len(rows)
			p.listen(listening, rows, f, dwells)
			continue
		}
		some := p.placeFile(rows, f, dwells)
		notes = append(notes, p.shiftNotes(some, f, dwells)...)
		all = append(all, some...)
	}
	intake.Clashes = merge(all)
	sortPlaced(all)
	count(&intake, all)
	if err := p.insideSchedule(all, dwells); err != nil {
		return nil, err
	}
	if intake.Clashes > 0 {
		notes = append(notes, diag.Diag{Severity: diag.Warning, Code: "clash",
			Msg: fmt.Sprintf("%d reports stand in the files twice with another SNR; the greatest is kept", intake.Clashes)})
	}
	text, err := json.Marshal(intake)
	if err != nil {
		return nil, err
	}
	return &pipeline.Result{
		Tables: map[string]arrow.Record{
			TableSpots:      encodeSpots(all),
			TableBackground: encodeListening(listening),
		},
		Files: map[string][]byte{FileIntake: text},
		Notes: notes,
	}, nil
}

func readDwells(rec arrow.Record) []dwell {
	var out []dwell
	for r := table.NewReader(rec); r.Next(); {
		out = append(out, dwell{
			session: r.Int("session"), block: r.Int("block"), position: r.Int("position"),
			band: r.Str("band"), arm: r.Str("arm"),
			start: r.Time("start"), settleEnd: r.Time("settle_end"), dwellEnd: r.Time("end"), kept: r.Bool("kept"),
		})
	}
	return out
}

// dwellAt gives the dwell that holds the moment. Dwells do not overlap and are sorted by start.
func dwellAt(dwells []dwell, t time.Time) *dwell {
	i, found := slices.BinarySearchFunc(dwells, t, func(d dwell, t time.Time) int { return d.start.Compare(t) })
	if !found {
		i--
	}
	if i < 0 || !t.Before(dwells[i].dwellEnd) {
		return nil
	}
	return &dwells[i]
}

func (p Params) placeFile(rows []row, f Source, dwells []dwell) []placed {
	out := make([]placed, len(rows))
	for i, r := range rows {
		out[i] = placed{row: r, source: f.Name}
		out[i].fate = p.fate(&out[i], f, dwells)
	}
	return out
}

// fate sets direction, slot and dwell of a row as far as it gets, and says why it got no further.
func (p Params) fate(r *placed, f Source, dwells []dwell) string {
	r.direct(p.Calls)
	switch {
	case r.noReport != "":
		return fateNoReport
	case r.direction == directionNone:
		return fateOther
	case !slices.Contains(p.Bands, r.band):
		return fateBand
	case !p.sameMode(r.row):
		return fateMode
	case !r.hasSeconds && p.SlotMs < 60_000:
		return fateSeconds
	}
	r.slot, r.hasSlot = schedule.SlotOf(r.at, p.SlotMs, f.TimeIs)
	if !r.hasSlot {
		return fateNoSlot
	}
	return p.fateInSchedule(r, dwells)
}

func (p Params) fateInSchedule(r *placed, dwells []dwell) string {
	length := time.Duration(p.SlotMs) * time.Millisecond
	d := dwellAt(dwells, r.slot)
	if d == nil || d.band != r.band || r.slot.Add(length).After(d.dwellEnd) {
		return fateOutside
	}
	sends := schedule.Sends(r.slot, p.SlotMs, p.Sends)
	switch {
	case r.direction == directionSent && !sends:
		return fateNotOwn
	case r.direction == directionRcvd && sends && p.Sends != "as logged":
		return fateSending
	}
	r.dwell = d
	switch {
	case r.slot.Before(d.settleEnd):
		return fateSettling
	case !d.kept:
		return fateDropped
	}
	return FateUsed
}

// direct tells which way the report goes, and turns other spellings of the own call into the one spelling.
func (r *placed) direct(calls []string) {
	mineSent, mineHeard := slices.Contains(calls, r.tx), slices.Contains(calls, r.rx)
	r.direction = directionNone
	switch {
	case mineSent && !mineHeard:
		r.direction, r.tx, r.far = directionSent, calls[0], r.rxAt
	case mineHeard && !mineSent:
		r.direction, r.rx, r.far = directionRcvd, calls[0], r.txAt
	}
}

func (p Params) sameMode(r row) bool {
	if r.slotS != nil && int64(*r.slotS*1000+0.5) != p.SlotMs {
		return false
	}
	return r.mode == "" || strings.EqualFold(r.mode, p.Mode) || strings.EqualFold(r.submode, p.Mode)
}

// reportKey is what makes two reports one.
type reportKey struct {
	tx, rx, band string
	slot         int64
}

// merge keeps the greatest report of each key and marks the others. It counts those that told another SNR.
// Which of several equal reports is kept depends on their texts alone, never on the order of the files.
func merge(all []placed) (clashes int) {
	best := map[reportKey]*placed{}
	for i := range all {
		r := &all[i]
		if r.fate != FateUsed {
			continue
		}
		key := reportKey{r.tx, r.rx, r.band, r.slot.UnixMilli()}
		have := best[key]
		if have == nil {
			best[key] = r
			continue
		}
		if *have.snrDB != *r.snrDB {
			clashes++
		}
		if comparePlaced(r, have) < 0 {
			have.fate, best[key] = FateMerged, r
		} else {
			r.fate = FateMerged
		}
	}
	return clashes
}

// comparePlaced puts the report that is kept first: the greatest SNR, then what tells more, then by place in the
// files.
func comparePlaced(a, b *placed) int {
	return cmp.Or(
		cmp.Compare(*b.snrDB, *a.snrDB),
		cmp.Compare(len(b.far.locator), len(a.far.locator)),
		cmp.Compare(a.far.locator, b.far.locator),
		a.at.Compare(b.at),
		compareFloats(a.frequencyMHz, b.frequencyMHz),
		compareFloats(a.powerW, b.powerW),
		cmp.Compare(a.mode+" "+a.submode, b.mode+" "+b.submode),
		cmp.Compare(a.source, b.source),
		cmp.Compare(a.line, b.line),
	)
}

func compareFloats(a, b *float64) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return -1
	case b == nil:
		return 1
	}
	return cmp.Compare(*a, *b)
}

// sortPlaced sorts as the schema of table spots says, and then by all that a row holds, so that the order of
// rows that differ only in their place in the files does not depend on the order of the files.
func sortPlaced(all []placed) {
	slices.SortFunc(all, func(a, b placed) int {
		return cmp.Or(
			a.at.Compare(b.at), cmp.Compare(a.tx, b.tx), cmp.Compare(a.rx, b.rx), cmp.Compare(a.band, b.band),
			compareFloats(a.snrDB, b.snrDB),
			cmp.Compare(a.source, b.source), cmp.Compare(a.line, b.line),
			cmp.Compare(a.direction, b.direction), cmp.Compare(a.far.locator, b.far.locator), cmp.Compare(a.fate, b.fate),
		)
	})
}

// span widens the account to the times of the rows.
func span(i *account.Intake, rows []row) {
	for _, r := range rows {
		if i.First == nil || r.at.Before(*i.First) {
			t := r.at
			i.First = &t
		}
		if i.Last == nil || r.at.After(*i.Last) {
			t := r.at
			i.Last = &t
		}
	}
}

func count(i *account.Intake, all []placed) {
	i.Reasons = map[string]int{}
	for _, r := range all {
		switch r.fate {
		case FateUsed:
			i.Used++
		case FateMerged:
			i.Merged++
		default:
			i.OutOfScope++
			i.Reasons[r.fate]++
		}
	}
	i.Read = len(all) + i.Background + i.Quarantined
	if i.Background > 0 {
		i.OutOfScope += i.Background
		i.Reasons["background"] = i.Background
	}
}

func encodeSpots(all []placed) arrow.Record {
	b := table.NewBuilder(datasets.Spots())
	for _, r := range all {
		var slot *time.Time
		if r.hasSlot {
			slot = &r.slot
		}
		var session, block, position *int64
		var arm *string
		if d := r.dwell; d != nil {
			session, block, position, arm = &d.session, &d.block, &d.position, &d.arm
		}
		fate := r.fate
		if r.noReport != "" {
			fate += ": " + r.noReport
		}
		b.Append(r.source, r.line, r.direction, r.at, slot, r.tx, r.rx, orNull(r.far.locator), r.far.lat, r.far.lon,
			orNull(r.band), r.frequencyMHz, r.snrDB, r.powerW, orNull(r.mode), orNull(r.submode),
			session, block, position, arm, fate)
	}
	return b.Record()
}

// listener is a station that reported somebody in a dwell, so that it was listening then.
type listener struct {
	receiver string
	start    int64 // of the dwell, Unix ms
}

func (p Params) listen(into map[listener]bool, rows []row, f Source, dwells []dwell) {
	for _, r := range rows {
		slot, ok := schedule.SlotOf(r.at, p.SlotMs, f.TimeIs)
		if !ok || slices.Contains(p.Calls, r.rx) {
			continue
		}
		if d := dwellAt(dwells, slot); d != nil && d.band == r.band {
			into[listener{r.rx, d.start.UnixMilli()}] = true
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
		b.Append(l.receiver, time.UnixMilli(l.start).UTC())
	}
	return b.Record()
}
