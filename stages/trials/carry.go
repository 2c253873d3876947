package trials

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"fairlobe/datasets"
	"fairlobe/datasets/world"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/judge"
	"fairlobe/stages/schedule"
)

// The stage that is replaced by what the world reports, and its outputs.
const (
	placing         = "spots"
	tableSpots      = "spots"
	tableBackground = "background"
	tableListeners  = "listeners"
	fileIntake      = "intake.json"
)

// carried is one trial as it happened.
type carried struct {
	planned []schedule.Dwell
	trial   world.Trial
	came    *world.Outcome
	stages  []pipeline.Stage // in an order in which they can run
	made    things           // what does not depend on the reports
}

// things are what stages have made.
type things struct {
	tables map[string]arrow.Record
	files  map[string][]byte
}

func newThings() things {
	return things{map[string]arrow.Record{}, map[string][]byte{}}
}

// carry lets the trial of a number happen.
func (sc *scene) carry(ctx context.Context, number int) (*carried, error) {
	exp := sc.exp
	exp.Seed = sc.seedOf("order", number)
	planned, err := stages.Schedule(&exp)
	if err != nil {
		return nil, err
	}
	c := &carried{planned: planned, trial: sc.trial, made: newThings()}
	c.trial.Seed, c.trial.Dwells = sc.seedOf("world", number), dwellsOf(planned)
	if c.came, err = world.Run(sc.params, c.trial); err != nil {
		return nil, err
	}
	data, err := stages.Find(&exp)
	if err != nil {
		return nil, err
	}
	sealed := stages.Standing{State: judge.SealSame, SealedAt: planned[0].Start.Add(-time.Hour)}
	c.stages = needed(data.Trial(planned, sealed, time.Time{}))
	return c, c.runWhat(ctx, c.made, func(s pipeline.Stage) bool { return !dependsOnReports(c.stages, s) })
}

func dwellsOf(planned []schedule.Dwell) []world.Dwell {
	out := make([]world.Dwell, len(planned))
	for i, d := range planned {
		out[i] = world.Dwell{Session: d.Session, Band: d.Band, Block: d.Block, Position: d.Position, Arm: d.Arm, Start: d.Start, Settle: d.SettleEnd, End: d.End}
	}
	return out
}

// needed gives the stages that the verdicts rest on, makers before users.
func needed(all []pipeline.Stage) []pipeline.Stage {
	maker := makers(all)
	var out []pipeline.Stage
	seen := map[string]bool{}
	var add func(output string)
	add = func(output string) {
		s := all[maker[output]]
		if seen[s.Name] {
			return
		}
		seen[s.Name] = true
		for _, need := range s.Needs {
			add(need)
		}
		out = append(out, s)
	}
	add(judge.TableVerdicts)
	return out
}

func makers(all []pipeline.Stage) map[string]int {
	maker := map[string]int{}
	for i, s := range all {
		for _, o := range s.Makes {
			maker[o.Name] = i
		}
	}
	return maker
}

// dependsOnReports tells whether a stage is, or comes after, the one that places reports.
func dependsOnReports(all []pipeline.Stage, s pipeline.Stage) bool {
	maker := makers(all)
	return s.Name == placing || slices.ContainsFunc(s.Needs, func(need string) bool { return dependsOnReports(all, all[maker[need]]) })
}

// runWhat runs the stages that are wanted and adds what they make.
func (c *carried) runWhat(ctx context.Context, made things, wanted func(pipeline.Stage) bool) error {
	for _, s := range c.stages {
		if s.Name == placing || !wanted(s) {
			continue
		}
		in := newThings()
		for _, need := range s.Needs {
			if rec, ok := made.tables[need]; ok {
				in.tables[need] = rec
			} else {
				in.files[need] = made.files[need]
			}
		}
		res, err := s.Run(ctx, pipeline.NewInput(ctx, memory.NewGoAllocator(), in.tables, in.files))
		if err == nil {
			err = res.Notes.Err()
		}
		if err != nil {
			return fmt.Errorf("stage %s: %w", s.Name, err)
		}
		for name, rec := range res.Tables {
			made.tables[name] = rec
		}
		for name, text := range res.Files {
			made.files[name] = text
		}
	}
	return ctx.Err()
}

// judged gives the verdicts on what was reported before a moment, to which all the data reach.
func (sc *scene) judged(ctx context.Context, c *carried, until time.Time) ([]entry, error) {
	made, err := sc.brought(ctx, c, until)
	if err != nil {
		return nil, err
	}
	var out []entry
	for r := table.NewReader(made.tables[judge.TableVerdicts]); r.Next(); {
		var e entry
		if err := json.Unmarshal([]byte(r.Str("detail")), &e); err != nil {
			return nil, fmt.Errorf("reading a verdict: %w", err)
		}
		out = append(out, e)
	}
	return out, nil
}

// brought gives all that the stages make of what was reported before a moment.
func (sc *scene) brought(ctx context.Context, c *carried, until time.Time) (things, error) {
	made := newThings()
	for name, rec := range c.made.tables {
		made.tables[name] = rec
	}
	for name, text := range c.made.files {
		made.files[name] = text
	}
	if err := sc.place(c, until, made); err != nil {
		return made, err
	}
	return made, c.runWhat(ctx, made, func(s pipeline.Stage) bool { return dependsOnReports(c.stages, s) })
}

// place stands for the stage that places the reports.
func (sc *scene) place(c *carried, until time.Time, made things) error {
	first := c.planned[0].Start
	intake := account.Intake{Reasons: map[string]int{}, First: &first, Last: &until}
	b := table.NewBuilder(datasets.Spots())
	for _, r := range c.came.Receptions {
		if !r.Passed || !r.Sent && !sc.received || !c.counts(r, until) {
			continue
		}
		sc.append(b, c, r)
		intake.Read++
	}
	intake.Used = intake.Read
	c.leaveEmpty(made)
	made.tables[tableSpots] = b.Record()
	made.tables[tableBackground] = c.background(until)
	made.tables[tableListeners] = c.listeners(until)
	text, err := json.Marshal(intake)
	if err != nil {
		return fmt.Errorf("writing %s: %w", fileIntake, err)
	}
	made.files[fileIntake] = text
	return nil
}

// counts tells whether a report lies in the part of its dwell that counts, and before a moment.
func (c *carried) counts(r world.Reception, until time.Time) bool {
	d := c.planned[r.Dwell]
	return !r.Slot.Before(d.SettleEnd) && r.Slot.Before(until)
}

// append adds a report as a placed row.
func (sc *scene) append(b *table.Builder, c *carried, r world.Reception) {
	far, d := c.came.Stations[r.Station], c.planned[r.Dwell]
	direction, transmitter, receiver := "sent", c.trial.Call, far.Call
	if !r.Sent {
		direction, transmitter, receiver = "received", far.Call, c.trial.Call
	}
	var place, power any
	if far.Locator != "" {
		place = far.Locator
	}
	if w, ok := sc.powerOf(d.Arm, far, r.Sent); ok {
		power = w
	}
	b.Append("world", b.Len()+1, direction, r.Slot, r.Slot, transmitter, receiver, place, nil, nil, d.Band, nil, float64(r.SNR), power,
		sc.exp.Fixed.Mode, nil, d.Session, d.Block, d.Position, d.Arm, datasets.FateUsed)
}

// powerOf is the power of the transmitting station, W, where the experiment declares its own. A far station's is told
// against that of the first arm.
func (sc *scene) powerOf(arm string, far world.Station, sent bool) (watts float64, ok bool) {
	if sent {
		return sc.exp.Number(arm, "power_w")
	}
	watts, ok = sc.exp.Number(sc.exp.Arms[0].Name, "power_w")
	return watts * math.Pow(10, far.PowerDB/10), ok
}

// listener is a station that reported another transmitter in a dwell.
type listener struct {
	receiver string
	start    time.Time
}

// listeners tells from where those of table background say that they listen.
func (c *carried) listeners(until time.Time) arrow.Record {
	told := map[string]string{}
	for _, h := range c.came.Background {
		if _, ok := c.dwellAt(h.Band, h.Slot); ok && h.Slot.Before(until) {
			told[c.came.Stations[h.Receiver].Call] = c.came.Stations[h.Receiver].Locator
		}
	}
	b := table.NewBuilder(c.schemaOf(tableListeners))
	for _, call := range slices.Sorted(maps.Keys(told)) {
		var locator any
		if told[call] != "" {
			locator = told[call]
		}
		b.Append(call, locator, nil, nil)
	}
	return b.Record()
}

// background tells who was heard to be listening in which dwell.
func (c *carried) background(until time.Time) arrow.Record {
	set := map[listener]bool{}
	for _, h := range c.came.Background {
		d, ok := c.dwellAt(h.Band, h.Slot)
		if ok && h.Slot.Before(until) {
			set[listener{c.came.Stations[h.Receiver].Call, d.Start}] = true
		}
	}
	all := make([]listener, 0, len(set))
	for l := range set {
		all = append(all, l)
	}
	slices.SortFunc(all, func(a, b listener) int { return cmp.Or(cmp.Compare(a.receiver, b.receiver), a.start.Compare(b.start)) })
	b := table.NewBuilder(c.schemaOf(tableBackground))
	for _, l := range all {
		b.Append(l.receiver, l.start)
	}
	return b.Record()
}

// dwellAt gives the dwell on a band in whose part that counts a slot begins.
func (c *carried) dwellAt(band string, slot time.Time) (schedule.Dwell, bool) {
	// The dwells are sorted by start, and those of one band do not overlap.
	i, _ := slices.BinarySearchFunc(c.planned, slot, func(d schedule.Dwell, at time.Time) int {
		if d.Start.After(at) {
			return 1
		}
		return -1
	})
	for i--; i >= 0; i-- {
		if d := c.planned[i]; d.Band == band {
			return d, !slot.Before(d.SettleEnd) && slot.Before(d.End)
		}
	}
	return schedule.Dwell{}, false
}

func (c *carried) schemaOf(output string) *arrow.Schema {
	for _, o := range c.outputs() {
		if o.Name == output {
			return o.Schema
		}
	}
	panic("trials: the placing stage makes no " + output)
}

// outputs are those of the stage that is replaced.
func (c *carried) outputs() []pipeline.Output {
	for _, s := range c.stages {
		if s.Name == placing {
			return s.Makes
		}
	}
	return nil
}

// leaveEmpty adds the tables that the replaced stage makes, without rows: what the world does not tell of.
func (c *carried) leaveEmpty(made things) {
	for _, o := range c.outputs() {
		if o.Schema != nil {
			made.tables[o.Name] = table.NewBuilder(o.Schema).Record()
		}
	}
}
