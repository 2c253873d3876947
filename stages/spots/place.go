package spots

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
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
	// Control is the call of a station that sends in the same slots; "" without one.
	Control string
	Files   []Source // sorted by name
}

// Names of the placing stage's outputs.
const (
	TableSpots      = "spots"
	TableBackground = "background"
	TableListeners  = "listeners"
	TableControl    = "control"
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
		Name: "spots", Version: 6, Needs: needs, Params: p,
		Makes: []pipeline.Output{
			{Name: TableSpots, Schema: datasets.Spots()},
			{Name: TableBackground, Schema: backgroundSchema()},
			{Name: TableListeners, Schema: listenersSchema()},
			{Name: TableControl, Schema: controlSchema()},
			{Name: FileIntake},
		},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return p.run(in) },
	}
}

func (p Params) run(in *pipeline.Input) (*pipeline.Result, error) {
	s := &placing{Params: p, calendar: newCalendar(in.Table("dwells"))}
	listening := heardListening{map[listener]bool{}, map[toldPlace]bool{}}
	var control []heardControl
	var intake account.Intake
	var notes, doubts diag.List
	reach := s.newReach()
	for n, f := range p.Files {
		intake.Quarantined += int(in.Table(f.Refused).NumRows())
		rows := newRowTable(in.Table(f.Rows))
		s.files = append(s.files, rows)
		s.names = append(s.names, strings.ToValidUTF8(f.Name, "\uFFFD"))
		reach.add(n, rows)
		control = append(control, s.hearControl(n)...)
		if f.Background {
			intake.Background += rows.len()
			s.listen(listening, n)
			continue
		}
		from := len(s.rows)
		s.placeFile(n)
		notes = append(notes, s.doubtTimes(n, s.rows[from:])...)
		doubts = append(doubts, s.doubtFile(n, s.rows[from:])...)
	}
	reach.tell(&intake)
	intake.Warnings = warnings(doubts)
	notes = append(append(notes, doubts...), reach.notes()...)
	intake.Clashes = s.merge()
	s.sort()
	s.count(&intake)
	if err := s.insideSchedule(); err != nil {
		return nil, err
	}
	if intake.Clashes > 0 {
		notes = append(notes, diag.Diag{Severity: diag.Warning, Code: "clash",
			Msg: fmt.Sprintf("%d reports stand in the files once more with another SNR; the greatest is kept", intake.Clashes)})
	}
	text, err := json.Marshal(intake)
	if err != nil {
		return nil, fmt.Errorf("writing %s: %w", FileIntake, err)
	}
	return &pipeline.Result{
		Tables: map[string]arrow.Record{TableSpots: s.encode(), TableBackground: encodeListening(listening.dwells),
			TableListeners: encodeListeners(listening.places), TableControl: s.encodeControl(control)},
		Files: map[string][]byte{FileIntake: text},
		Notes: notes.Sort(),
	}, nil
}

// placing is the work of the stage. What a row says stays in the table of its file; here it is a few numbers, so that
// millions of rows fit.
type placing struct {
	Params
	calendar *calendar
	files    []*rowTable
	names    []string
	rows     []placed
}

// placed is a row with what became of it.
type placed struct {
	file, row int32 // where the rest of it stands
	dwell     int32 // that holds its slot, or nowhere
	direction direction
	fate      fate
	hasSlot   bool
	at, slot  int64   // Unix µs
	snrDB     float64 // NaN without a report
}

func (s *placing) placeFile(n int) {
	rows := s.files[n]
	s.rows = slices.Grow(s.rows, rows.len())
	for i := range rows.len() {
		r := rows.row(i)
		at := placed{file: int32(n), row: int32(i), at: r.at.UnixMicro(), snrDB: r.snrDB}
		s.place(&at, &r)
		s.rows = append(s.rows, at)
	}
}

// place sets direction, slot and dwell of a row as far as it gets, and its fate. The time is that of to, so that a
// shifted one can be tried.
func (s *placing) place(to *placed, r *row) {
	to.dwell, to.hasSlot = nowhere, false
	to.direction = directionOf(r, s.Calls)
	switch {
	case r.noReport != "":
		to.fate = noReport
		return
	case to.direction == other:
		to.fate = betweenOthers
		return
	case !slices.Contains(s.Bands, r.band):
		to.fate = otherBand
		return
	case !s.sameMode(r):
		to.fate = otherMode
		return
	case !r.hasSeconds && s.SlotMs < 60_000:
		to.fate = noSeconds
		return
	}
	slot, ok := schedule.SlotOf(time.UnixMicro(to.at), s.SlotMs, s.Files[to.file].TimeIs)
	if !ok {
		to.fate = noSlot
		return
	}
	to.slot, to.hasSlot = slot.UnixMicro(), true
	to.fate = s.inSchedule(to, r.band)
}

// inSchedule finds the dwell of a row that has a slot, and its fate.
func (s *placing) inSchedule(to *placed, band string) fate {
	n := s.calendar.at(to.slot)
	if n == nowhere {
		return outside
	}
	d := &s.calendar.dwells[n]
	if d.band != band || to.slot+s.SlotMs*1000 > d.end {
		return outside
	}
	to.dwell = int32(n)
	sends := schedule.Sends(time.UnixMicro(to.slot), s.SlotMs, s.Sends)
	switch {
	case to.direction == sent && !sends:
		return notOwnSlot
	case to.direction == received && sends && s.Sends != schedule.AsLogged:
		return whileSending
	case to.slot < d.settleEnd:
		return settling
	case d.late:
		return droppedLate
	case !d.kept:
		return blockDropped
	}
	return used
}

// directionOf tells which way a report goes.
func directionOf(r *row, calls []string) direction {
	mineSent, mineHeard := slices.Contains(calls, r.tx), slices.Contains(calls, r.rx)
	switch {
	case mineSent && !mineHeard:
		return sent
	case mineHeard && !mineSent:
		return received
	}
	return other
}

// sameMode tells whether a row may be of the trial's mode. What a row does not tell can't speak against it.
func (p Params) sameMode(r *row) bool {
	if !math.IsNaN(r.slotS) && math.Abs(r.slotS*1000-float64(p.SlotMs)) >= 0.5 {
		return false
	}
	return r.mode == "" || strings.EqualFold(r.mode, p.Mode) || strings.EqualFold(r.submode, p.Mode)
}

// transmitter and receiver give the calls of a row, the own one in its first spelling.
func (s *placing) transmitter(r *placed) string {
	if r.direction == sent {
		return s.Calls[0]
	}
	return s.files[r.file].tx.Value(int(r.row))
}

func (s *placing) receiver(r *placed) string {
	if r.direction == received {
		return s.Calls[0]
	}
	return s.files[r.file].rx.Value(int(r.row))
}

func (s *placing) band(r *placed) string { return s.files[r.file].band.Value(int(r.row)) }

// far gives the place of the far station of a row.
func (d direction) far(r *row) place {
	switch d {
	case sent:
		return r.rxAt
	case received:
		return r.txAt
	}
	return emptyRow().txAt
}

func (s *placing) count(i *account.Intake) {
	i.Reasons = map[string]int{}
	for _, r := range s.rows {
		switch r.fate {
		case used:
			i.Used++
		case merged:
			i.Merged++
		default:
			i.OutOfScope++
			i.Reasons[r.fate.String()]++
		}
	}
	i.Read = len(s.rows) + i.Background + i.Quarantined
	if i.Background > 0 {
		i.OutOfScope += i.Background
		i.Reasons["background"] = i.Background
	}
}

// sort sorts as the schema of table spots says, then by what tells rows of one line apart.
func (s *placing) sort() {
	slices.SortFunc(s.rows, func(a, b placed) int {
		if a.at != b.at {
			return cmp.Compare(a.at, b.at)
		}
		if c := s.compareCalls(&a, &b); c != 0 {
			return c
		}
		return cmp.Or(cmp.Compare(s.band(&a), s.band(&b)), cmp.Compare(a.snrDB, b.snrDB), s.compareOrigin(&a, &b))
	})
}

func (s *placing) compareCalls(a, b *placed) int {
	if c := cmp.Compare(s.transmitter(a), s.transmitter(b)); c != 0 {
		return c
	}
	return cmp.Compare(s.receiver(a), s.receiver(b))
}

// compareOrigin compares rows by where they stand in the files.
func (s *placing) compareOrigin(a, b *placed) int {
	return cmp.Or(
		cmp.Compare(s.names[a.file], s.names[b.file]),
		cmp.Compare(s.files[a.file].line.Value(int(a.row)), s.files[b.file].line.Value(int(b.row))),
		cmp.Compare(a.file, b.file), cmp.Compare(a.row, b.row),
	)
}
