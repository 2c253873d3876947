// Package reduce sets the usable spots into the trial: table receptions, which the judge reads, and tables
// listening and cells, which show who was there and sum receptions up for people.
//
// It adds nothing and drops nothing: every spot with the fate "used" is one reception. Those of blocks that only drops entered after the
// first look take out stand apart.
package reduce

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/station"
	"fairlobe/stages/schedule"
)

// Names of the stage's outputs.
const (
	TableReceptions = "receptions"
	TableListening  = "listening"
	TableCells      = "cells"
	// TableLate holds the receptions of the blocks that only drops entered after the first look take out. It stays inside
	// the store.
	TableLate = "late_receptions"
	// TableControl holds who heard the control station in the own slots, of the stations of the trial. It stays there, too.
	TableControl = "control_receptions"
)

// Params are the stage's parameters.
type Params struct {
	Seed   uint64
	SlotMs int64
	Sends  string
}

// Stage makes the stage.
func Stage(p Params) pipeline.Stage {
	return pipeline.Stage{
		Name: "reduce", Version: 5, Needs: []string{"dwells", "spots", "stations", "background", "control"}, Params: p,
		Makes: []pipeline.Output{
			{Name: TableReceptions, Schema: datasets.Receptions()},
			{Name: TableListening, Schema: datasets.Listening()},
			{Name: TableCells, Schema: datasets.Cells()},
			{Name: TableLate, Schema: datasets.Receptions()},
			{Name: TableControl, Schema: datasets.Receptions()},
		},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) { return p.run(in) },
	}
}

// key is the key of everything that is counted or judged.
type key struct {
	session   int64
	band      string
	block     int64
	arm       string
	direction string
	station   int64
}

func (k key) compare(o key) int {
	return cmp.Or(cmp.Compare(k.session, o.session), cmp.Compare(k.band, o.band), cmp.Compare(k.block, o.block),
		cmp.Compare(k.arm, o.arm), cmp.Compare(k.direction, o.direction), cmp.Compare(k.station, o.station))
}

type reception struct {
	key
	slot   time.Time
	snr    float64
	powerW *float64 // of the transmitting station
}

func (p Params) run(in *pipeline.Input) (*pipeline.Result, error) {
	index := newIndex(in.Table("stations"))
	receptions, err := p.receptions(in.Table("spots"), index, datasets.FateUsed)
	if err != nil {
		return nil, err
	}
	late, err := p.receptions(in.Table("spots"), index, datasets.FateDroppedLate)
	if err != nil {
		return nil, err
	}
	dwells := readDwells(in.Table("dwells"))
	background := in.Table("background")
	listening := index.listening(background, dwells)
	return &pipeline.Result{Tables: map[string]arrow.Record{
		TableReceptions: p.encodeReceptions(receptions),
		TableListening:  encodeListening(listening),
		TableCells:      p.encodeCells(receptions, dwells, listening, background.NumRows() > 0),
		TableLate:       p.encodeReceptions(late),
		TableControl:    p.encodeReceptions(index.controlled(in.Table("control"), heardAtAll(receptions, late))),
	}}, nil
}

// index finds the number of a station by call and place.
type index struct {
	places  map[string][]station.Place // of each call, as station.Places gives them
	numbers map[string]int64           // call and place key -> number
	ofCall  map[string][]int64
}

func newIndex(stations arrow.Record) *index {
	x := &index{places: map[string][]station.Place{}, numbers: map[string]int64{}, ofCall: map[string][]int64{}}
	for r := table.NewReader(stations); r.Next(); {
		call, number := r.Str("call"), r.Int("number")
		x.numbers[call+" "+r.Str("place")] = number
		x.ofCall[call] = append(x.ofCall[call], number)
		if r.Str("place") == "" {
			continue
		}
		p := station.Place{}
		if r.Null("locator") { // a position; beside a locator the coordinates are those of its centre
			p = station.Place{Lat: r.Float("latitude"), Lon: r.Float("longitude"), Exact: true}
		} else {
			p.Locator = r.Str("locator")
		}
		x.places[call] = append(x.places[call], p)
	}
	for _, places := range x.places {
		slices.SortFunc(places, func(a, b station.Place) int { return cmp.Compare(a.Key(), b.Key()) })
	}
	return x
}

func (x *index) find(call string, p station.Place) (int64, bool) {
	places := x.places[call]
	name := ""
	if i := station.Choose(places, p); i >= 0 {
		name = places[i].Key()
	}
	n, ok := x.numbers[call+" "+name]
	return n, ok
}

// receptions gives the spots of one fate.
func (p Params) receptions(rows arrow.Record, x *index, fate string) ([]reception, error) {
	var out []reception
	for r := table.NewReader(rows); r.Next(); {
		if r.Str("fate") != fate {
			continue
		}
		call := station.Far(r)
		number, ok := x.find(call, station.PlaceOf(r))
		if !ok {
			return nil, fmt.Errorf("%s line %d: station %s is not in table stations", r.Str("source"), r.Int("line"), call)
		}
		out = append(out, reception{
			key:  key{r.Int("session"), r.Str("band"), r.Int("block"), r.Str("arm"), r.Str("direction"), number},
			slot: r.Time("slot"), snr: r.Float("snr_db"), powerW: r.FloatOrNil("power_w"),
		})
	}
	slices.SortFunc(out, func(a, b reception) int {
		return cmp.Or(a.key.compare(b.key), a.slot.Compare(b.slot), cmp.Compare(a.snr, b.snr))
	})
	return out, nil
}

// heardAtAll gives the stations with a reception in the trial.
func heardAtAll(some ...[]reception) map[int64]bool {
	out := map[int64]bool{}
	for _, all := range some {
		for _, r := range all {
			out[r.station] = true
		}
	}
	return out
}

// controlled gives the reports of the control station. A receiver that never heard the own station tells nothing of it
// here, and is left out.
func (x *index) controlled(rows arrow.Record, heard map[int64]bool) []reception {
	var out []reception
	for r := table.NewReader(rows); r.Next(); {
		number, ok := x.find(r.Str("receiver"), station.PlaceOf(r))
		if !ok || !heard[number] {
			continue
		}
		out = append(out, reception{
			key:  key{r.Int("session"), r.Str("band"), r.Int("block"), r.Str("arm"), "sent", number},
			slot: r.Time("slot"), snr: r.Float("snr_db"),
		})
	}
	slices.SortFunc(out, func(a, b reception) int { return cmp.Or(a.key.compare(b.key), a.slot.Compare(b.slot)) })
	return out
}

// Dither gives what is added to a report of a station, -0.5 to +0.5 dB: without it the rounding of reports to whole
// dB would bias the estimate. It depends on seed, slot and station alone.
//
// The hash is three steps of SplitMix64 (Steele, Lea & Flood, OOPSLA 2014, figure 13 and its finaliser).
func Dither(seed uint64, slot time.Time, station int64) float64 {
	h := mix(mix(mix(seed)+uint64(slot.UnixMilli())) + uint64(station))
	return float64(h>>11)*0x1p-53 - 0.5
}

func mix(x uint64) uint64 {
	x += 0x9E3779B97F4A7C15
	x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9
	x = (x ^ (x >> 27)) * 0x94D049BB133111EB
	return x ^ (x >> 31)
}

func (p Params) encodeReceptions(all []reception) arrow.Record {
	b := table.NewBuilder(datasets.Receptions())
	for _, r := range all {
		b.Append(r.session, r.band, r.block, r.arm, r.direction, r.station, r.slot, r.snr, Dither(p.Seed, r.slot, r.station), r.powerW)
	}
	return b.Record()
}

type dwell struct {
	session, block, position int64
	band, arm                string
	start, settleEnd, end    time.Time
	slots                    int64
	kept                     bool
	late                     bool // only drops entered after the first look take it out
}

func readDwells(rec arrow.Record) []dwell {
	var out []dwell
	for r := table.NewReader(rec); r.Next(); {
		out = append(out, dwell{
			session: r.Int("session"), block: r.Int("block"), position: r.Int("position"), band: r.Str("band"), arm: r.Str("arm"),
			start: r.Time("start"), settleEnd: r.Time("settle_end"), end: r.Time("end"), slots: r.Int("slots"), kept: r.Bool("kept"),
			late: !r.Null("reason") && strings.HasPrefix(r.Str("reason"), datasets.ReasonDroppedLate),
		})
	}
	return out
}

// listener is a station that was listening in a dwell.
type listener struct {
	dwell
	station int64
}

// listening turns the background into stations of the trial. A call with several places counts as listening at
// each of them. Table stations holds those that never heard the own station as well.
func (x *index) listening(background arrow.Record, dwells []dwell) []listener {
	// Dwells that count begin at different moments; others may lie under them. Those that only a late drop takes out are
	// needed to judge the trial without it.
	byStart := map[time.Time]dwell{}
	for _, d := range dwells {
		if _, taken := byStart[d.start]; d.kept || d.late && !taken {
			byStart[d.start] = d
		}
	}
	var out []listener
	for r := table.NewReader(background); r.Next(); {
		d, ok := byStart[r.Time("start")]
		if !ok {
			continue
		}
		for _, number := range x.ofCall[r.Str("receiver")] {
			out = append(out, listener{d, number})
		}
	}
	slices.SortFunc(out, func(a, b listener) int {
		return cmp.Or(cmp.Compare(a.session, b.session), cmp.Compare(a.band, b.band), cmp.Compare(a.block, b.block),
			cmp.Compare(a.position, b.position), cmp.Compare(a.station, b.station))
	})
	return out
}

func encodeListening(all []listener) arrow.Record {
	b := table.NewBuilder(datasets.Listening())
	for _, l := range all {
		b.Append(l.session, l.band, l.block, l.position, l.arm, l.station)
	}
	return b.Record()
}

type blockArm struct {
	session, block int64
	band, arm      string
}

func (p Params) encodeCells(all []reception, dwells []dwell, listening []listener, background bool) arrow.Record {
	sent, heard := map[blockArm]int64{}, map[blockArm]int64{}
	for _, d := range dwells {
		at := blockArm{d.session, d.block, d.band, d.arm}
		sent[at] += d.slots
		heard[at] += int64(p.otherSlots(d))
	}
	listened := map[key]bool{}
	for _, l := range listening {
		listened[key{l.session, l.band, l.block, l.arm, "sent", l.station}] = true
	}
	b := table.NewBuilder(datasets.Cells())
	for from := 0; from < len(all); {
		to := from + 1
		for to < len(all) && all[to].key == all[from].key {
			to++
		}
		k := all[from].key
		slots := sent[blockArm{k.session, k.block, k.band, k.arm}]
		var was *bool
		if k.direction == "received" { // the slots in which the station listened
			slots = heard[blockArm{k.session, k.block, k.band, k.arm}]
		} else if background {
			yes := listened[k]
			was = &yes
		}
		mean, best := summary(all[from:to])
		b.Append(k.session, k.band, k.block, k.arm, k.direction, k.station, slots, to-from, mean, best, was)
		from = to
	}
	return b.Record()
}

// otherSlots counts the slots of a dwell in which the station listens.
func (p Params) otherSlots(d dwell) int {
	n := 0
	step := time.Duration(p.SlotMs) * time.Millisecond
	for t := schedule.UpToEdge(d.settleEnd, p.SlotMs); !t.Add(step).After(d.end); t = t.Add(step) {
		if p.Sends == schedule.AsLogged || !schedule.Sends(t, p.SlotMs, p.Sends) {
			n++
		}
	}
	return n
}

func summary(some []reception) (mean, best float64) {
	best = math.Inf(-1)
	for _, r := range some {
		mean += r.snr
		best = max(best, r.snr)
	}
	return mean / float64(len(some)), best
}
