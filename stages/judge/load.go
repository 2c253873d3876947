package judge

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/station"
)

// data is all that the judge reads.
type data struct {
	trial      account.Trial
	intake     account.Intake
	stations   []place
	blocks     []block // in order of time
	receptions []reception
	// lateReceptions are those of blocks that only drops entered after the first look take out.
	lateReceptions []reception
	controlled     []reception // of the control station, in the own slots
	listening      []listener
	readings       []reading
	putUp          map[outing]int64 // number of the erection
	firstDwell     time.Time
	lastDwell      time.Time
	dwellMs        map[string]int64 // by band: length of a dwell; the shortest, where they differ
}

type place struct {
	region    string
	azimuth   float64 // degrees, rounded
	located   bool
	km        float64
	radiusKm  float64
	roaming   bool // not for directivity
	ownSquare bool
}

// block is one block of one band.
type block struct {
	session int64
	band    string
	number  int64
	kept    bool
	lost    bool      // it was to be run and does not count
	late    bool      // only drops entered after the first look take it out
	start   time.Time // of its first dwell
	last    time.Time // start of its last dwell
	// dwells has the middles of each arm's dwells.
	dwells map[string][]time.Time
}

// middle is the mean of the middles of an arm's dwells, in s from a moment; false if the arm has none in the block.
func (b block) middle(arm string, from time.Time) (seconds float64, ok bool) {
	times := b.dwells[arm]
	if len(times) == 0 {
		return 0, false
	}
	for _, t := range times {
		seconds += t.Sub(from).Seconds()
	}
	return seconds / float64(len(times)), true
}

type reception struct {
	session, number int64
	band, arm       string
	direction       string
	station         int
	slotMs          int64
	snr, dithered   float64
	powerW          *float64 // of the transmitting station, if the report tells it
}

type reading struct {
	arm, sweep, plane string
	measured          bool // at that plane; else the feedline was removed by calculation
	mhz               float64
	z0                float64 // what SWR and losses refer to, ohm
	swr, low, high    *float64
	lineLossDB        *float64 // of the feedline that was removed, with its mismatch
	returnLossDB      *float64
	mismatchDB        *float64 // loss by the mismatch
}

func (p Params) load(in *pipeline.Input) (*data, error) {
	d := &data{putUp: map[outing]int64{}, dwellMs: map[string]int64{}}
	if err := json.Unmarshal(in.File("trial.json"), &d.trial); err != nil {
		return nil, fmt.Errorf("reading trial.json: %w", err)
	}
	if err := json.Unmarshal(in.File("intake.json"), &d.intake); err != nil {
		return nil, fmt.Errorf("reading intake.json: %w", err)
	}
	d.loadStations(table.NewReader(in.Table("stations")))
	d.loadBlocks(table.NewReader(in.Table("dwells")))
	d.receptions = loadReceptions(table.NewReader(in.Table("receptions")))
	d.controlled = loadReceptions(table.NewReader(in.Table("control_receptions")))
	d.lateReceptions = loadReceptions(table.NewReader(in.Table("late_receptions")))
	for r := table.NewReader(in.Table("listening")); r.Next(); {
		d.listening = append(d.listening, listener{r.Int("session"), r.Int("block"), r.Str("band"), r.Str("arm"), int(r.Int("station"))})
	}
	for r := table.NewReader(in.Table("sweeps")); r.Next(); {
		d.readings = append(d.readings, reading{r.Str("arm"), r.Str("sweep"), r.Str("plane"), r.Bool("measured"), r.Float("frequency_mhz"), r.Float("z0_ohm"),
			r.FloatOrNil("swr"), r.FloatOrNil("swr_low"), r.FloatOrNil("swr_high"), r.FloatOrNil("line_loss_db"),
			r.FloatOrNil("return_loss_db"), r.FloatOrNil("mismatch_loss_db")})
	}
	return d, nil
}

// mostUncertainBearing is the greatest uncertainty of a bearing, in degrees, that a directivity claim accepts.
const mostUncertainBearing = 20

func (d *data) loadStations(r *table.Reader) {
	var calls, places []string
	for r.Next() {
		s := place{region: r.Str("region"), ownSquare: r.Str("region") == station.RegionOwnSquare}
		if !r.Null("bearing_deg") && !r.Null("distance_km") {
			s.located = true
			s.azimuth, s.km = station.RoundDeg(r.Float("bearing_deg")), station.RoundKm(r.Float("distance_km"))
			s.radiusKm = station.RoundRadiusKm(r.Float("position_radius_km"))
		}
		calls, places = append(calls, r.Str("call")), append(places, r.Str("place"))
		d.stations = append(d.stations, s)
	}
	for i, roaming := range station.Roaming(calls, places) {
		d.stations[i].roaming = roaming
	}
}

// forDirectivity tells whether the station's bearing is known well enough.
func (s place) forDirectivity() bool {
	return s.located && !s.roaming && geo.BearingUncertainty(s.radiusKm, s.km) <= mostUncertainBearing
}

// notRun begins the reason of a block that was not run because the trial was over, or is not run yet: such a block is
// not lost.
const notRun = "not run"

func (d *data) loadBlocks(r *table.Reader) {
	index := map[string]int{}
	for r.Next() {
		start := r.Time("start")
		if d.firstDwell.IsZero() {
			d.firstDwell = start
		}
		if start.After(d.lastDwell) {
			d.lastDwell = start
		}
		band := r.Str("band")
		d.putUp[outing{r.Int("session"), r.Str("arm")}] = r.Int("erection")
		if length := r.Time("end").Sub(start).Milliseconds(); d.dwellMs[band] == 0 || length < d.dwellMs[band] {
			d.dwellMs[band] = length
		}
		key := fmt.Sprintf("%d %s %d", r.Int("session"), band, r.Int("block"))
		i, ok := index[key]
		if !ok {
			i = len(d.blocks)
			index[key] = i
			b := block{dwells: map[string][]time.Time{}, session: r.Int("session"), band: band, number: r.Int("block"), kept: r.Bool("kept"), late: droppedLate(r.StrOrNil("reason")), start: start}
			b.lost = !b.kept && (r.Null("reason") || !strings.HasPrefix(r.Str("reason"), notRun))
			d.blocks = append(d.blocks, b)
		}
		d.blocks[i].last = start
		arm := r.Str("arm")
		d.blocks[i].dwells[arm] = append(d.blocks[i].dwells[arm], start.Add(r.Time("end").Sub(start)/2))
	}
	slices.SortStableFunc(d.blocks, func(a, b block) int {
		return cmp.Or(a.start.Compare(b.start), cmp.Compare(a.session, b.session), cmp.Compare(a.band, b.band), cmp.Compare(a.number, b.number))
	})
}

func loadReceptions(r *table.Reader) []reception {
	var out []reception
	for r.Next() {
		snr := r.Float("snr_db")
		out = append(out, reception{
			session: r.Int("session"), number: r.Int("block"), band: r.Str("band"), arm: r.Str("arm"), direction: r.Str("direction"),
			station: int(r.Int("station")), slotMs: r.Time("slot").UnixMilli(), snr: snr, dithered: snr + r.Float("dither_db"),
			powerW: r.FloatOrNil("power_w"),
		})
	}
	return out
}

// reached tells whether the data go as far as the block's last dwell; a finished trial reaches all its blocks.
func (d *data) reached(b block) bool {
	return d.trial.Ended || d.intake.Last != nil && !d.intake.Last.Before(b.last)
}

// complete tells whether the trial is over: the log says so, or the data reach the last dwell.
func (d *data) complete() bool {
	return d.trial.Ended || d.intake.Last != nil && !d.intake.Last.Before(d.lastDwell)
}
