package judge_test

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/account"
	"fairlobe/stages/judge"
)

// world is a small trial whose truth is known: blocks of two arms on some bands, heard by stations all round.
type world struct {
	arms       []string
	bands      []string
	sessions   int
	blocks     int // in each session and band
	stations   []far
	direction  string
	noiseDB    float64 // of each report; 0: no dither either
	blockSD    float64 // of a block's difference, shared by all stations
	everySlots int     // a report in every so many slots of 30 s
	// diffDB is the first arm minus the second, and levelDB the second arm's report.
	diffDB, levelDB func(at place) float64
	// silent takes a report away.
	silent func(at place, arm string, slot int) bool

	// listens tells whether the background shows a station listening in a dwell; nil: there is no background.
	listens func(at place, arm string) bool
	// returned gives what is received of a station in every second slot, NaN for nothing, and the power that it claims, 0
	// for none; nil: nothing is received.
	returned func(at place, arm string, slot int) (snr, powerW float64)
	listened []listeningRow
	// erection numbers the putting-up of an arm in a session; nil: a new one in each.
	erection func(session int, arm string) int
	// controlDB is a station's report of the control station, if it hears it; nil without one.
	controlDB func(at place) (db float64, heard bool)
	lost      map[int]string // reasons of blocks (from 0, over all sessions) that do not count, on every band
	trial     account.Trial
	intake    account.Intake
	last      time.Time // of the reports; the zero value: the end of the last dwell
	sweeps    []sweepRow
	params    judge.Params
	claims    []judge.Claim
	swapped   bool // first and second change places in every claim
}

type place struct {
	band    string
	block   int // from 0, over all sessions
	session int
	station int
	far
}

type far struct {
	deg, km float64
	region  string
	radius  float64
	call    string
	unknown bool
}

type sweepRow struct {
	arm, sweep, plane string
	mhz               float64
	swr, low, high    *float64
	loss              *float64 // of the feedline
	returnLoss        *float64
	mismatch          *float64 // its loss
	calculated        bool     // for that plane
	z0                float64  // ohm; 0 for 50
}

var began = time.Date(2026, 9, 12, 4, 0, 0, 0, time.UTC)

const (
	dwellTime = 6 * time.Minute
	sealedMs  = 1_789_000_000_000 // two days before
)

// around gives n stations all round, in two classes of distance.
func around(n int) []far {
	out := make([]far, n)
	for i := range out {
		deg := math.Round(360 * float64(i) / float64(n))
		out[i] = far{deg: deg, km: 500 + 1000*float64(i%2), call: fmt.Sprintf("Q1%03d", i)}
	}
	return inRegions(out)
}

// inSector gives n stations between two bearings.
func inSector(n int, from, to float64) []far {
	out := around(n)
	for i := range out {
		out[i].deg = math.Round(from + (to-from)*float64(i)/float64(n))
	}
	return inRegions(out)
}

func inRegions(all []far) []far {
	for i := range all {
		all[i].region = fmt.Sprintf("%03.0f, class %.0f", 30*math.Floor(all[i].deg/30), math.Floor(all[i].km/1200))
	}
	return all
}

// plain is a trial of 10 blocks on one band in which nothing is wrong and the arms do not differ.
func plain() *world {
	return &world{
		arms: []string{"low", "high"}, bands: []string{"20m"}, sessions: 1, blocks: 10, stations: around(24), direction: "sent",
		noiseDB: 1, blockSD: 0.3, everySlots: 1,
		diffDB:  func(place) float64 { return 0 },
		levelDB: func(place) float64 { return -5 },
		silent:  func(place, string, int) bool { return false },
		lost:    map[int]string{},
		params: judge.Params{
			Arms: []string{"low", "high"}, SmallestDB: 1.5, CutDB: -18, Seed: 7, Stopping: "fixed",
			Seal: judge.SealSame, SealedMs: sealedMs, SlotMs: 15000,
		},
		claims: []judge.Claim{level()},
	}
}

func level() judge.Claim {
	return judge.Claim{Name: "lift helps", Kind: "level", Arms: []string{"high", "low"}, Direction: "sent", Bands: []string{"20m"}}
}

func lobe(shape string) judge.Claim {
	axis := 90.0
	return judge.Claim{Name: "favours the east", Kind: "directivity", Arms: []string{"high", "low"}, Direction: "sent", Bands: []string{"20m"}, Shape: shape, TowardDeg: &axis}
}

// differ sets the first arm of the claims (high) minus the second.
func (w *world) differ(db float64) *world {
	w.diffDB = func(place) float64 { return db }
	return w
}

// leans adds a lobe toward the east.
func (w *world) leans(db float64) *world {
	before := w.diffDB
	w.diffDB = func(at place) float64 { return before(at) + db*math.Sin(at.deg*math.Pi/180) }
	return w
}

func (w *world) judged(t *testing.T) []entry {
	t.Helper()
	entries, _ := w.judgedAndShown(t)
	return entries
}

// judgedAndShown gives the tables of what pictures show too, and that of fits.
func (w *world) judgedAndShown(t *testing.T) ([]entry, pictures) {
	t.Helper()
	in := w.input()
	defer in.Release()
	res, err := judge.Stage(w.stageParams()).Run(context.Background(), in)
	require.NoError(t, err)
	for name, form := range map[string]*arrow.Schema{judge.TableVerdicts: datasets.Verdicts(), judge.TableBlocks: datasets.Blocks(), judge.TableDifferences: datasets.Differences(), judge.TableLobes: datasets.Lobes(), judge.TableFits: datasets.Fits()} {
		rec := res.Tables[name]
		defer rec.Release()
		require.True(t, form.Equal(rec.Schema()), name)
		require.NoError(t, table.CheckSorted(rec, table.SortKeys(form)))
	}
	return entriesOf(t, res.Tables[judge.TableVerdicts]), picturesIn(res.Tables)
}

func entriesOf(t *testing.T, rec arrow.Record) []entry {
	t.Helper()
	var out []entry
	for r := table.NewReader(rec); r.Next(); {
		detail := r.Str("detail")
		checkSchema(t, detail)
		var e entry
		require.NoError(t, json.Unmarshal([]byte(detail), &e))
		e.detail = detail
		e.checkRow(t, r)
		out = append(out, e)
	}
	return out
}

// one judges a trial with one claim on one band.
func (w *world) one(t *testing.T) entry {
	t.Helper()
	all := w.judged(t)
	require.Len(t, all, 1)
	return all[0]
}

func (w *world) stageParams() judge.Params {
	p := w.params
	for _, name := range w.bands {
		from, to := 14.0, 14.35
		p.Bands = append(p.Bands, judge.Band{Name: name, FromMHz: from, ToMHz: to, Planned: w.sessions * w.blocks})
	}
	for _, c := range w.claims {
		if w.swapped && len(c.Arms) == 2 {
			c.Arms = []string{c.Arms[1], c.Arms[0]}
		}
		p.Claims = append(p.Claims, c)
	}
	return p
}

// input makes the tables.
func (w *world) input() *pipeline.Input {
	random := rand.New(rand.NewPCG(w.params.Seed, 3))
	w.listened = nil
	dwells := table.NewBuilder(datasets.Dwells())
	var rows, late []receptionRow
	end := began
	for s := range w.sessions {
		for b := range w.blocks {
			for n, band := range w.bands {
				at := place{band: band, block: s*w.blocks + b, session: s + 1}
				start := began.Add(time.Duration(s)*24*time.Hour + time.Duration(b*len(w.bands)+n)*20*time.Minute)
				into := &rows
				if w.late(at.block) {
					into = &late
				}
				end = w.addBlock(dwells, random, at, b, start, into)
			}
		}
	}
	w.complete(end)
	return pipeline.NewInput(context.Background(), memory.NewGoAllocator(),
		map[string]arrow.Record{
			"dwells": dwells.Record(), "receptions": w.receptionTable(rows), "late_receptions": w.receptionTable(late), "control_receptions": w.controlTable(rows),
			"listening": w.listeningTable(), "stations": w.stationTable(), "sweeps": w.sweepTable(),
		},
		map[string][]byte{"trial.json": asJSON(w.trial), "intake.json": asJSON(w.intake)})
}

// late tells whether only drops entered after the first look take a block out.
func (w *world) late(block int) bool {
	return strings.HasPrefix(w.lost[block], datasets.ReasonDroppedLate)
}

// controlTable gives what the stations report of the control station in the same slots as of the arms, if there is one.
func (w *world) controlTable(rows []receptionRow) arrow.Record {
	var heard []receptionRow
	for _, r := range rows {
		if w.controlDB == nil {
			break
		}
		db, ok := w.controlDB(place{station: r.station, far: w.stations[r.station]})
		if r.snr, r.dither = db, 0; ok {
			heard = append(heard, r)
		}
	}
	return w.receptionTable(heard)
}

func (w *world) receptionTable(rows []receptionRow) arrow.Record {
	slices.SortFunc(rows, receptionRow.compare)
	b := table.NewBuilder(datasets.Receptions())
	for _, r := range rows {
		b.Append(r.session, r.band, r.block, r.arm, r.direction, r.station, r.slot, r.snr, r.dither, r.powerW)
	}
	return b.Record()
}

func (w *world) listeningTable() arrow.Record {
	slices.SortFunc(w.listened, func(a, b listeningRow) int {
		return cmp.Or(cmp.Compare(a.session, b.session), cmp.Compare(a.band, b.band), cmp.Compare(a.block, b.block), cmp.Compare(a.position, b.position), cmp.Compare(a.station, b.station))
	})
	b := table.NewBuilder(datasets.Listening())
	for _, r := range w.listened {
		b.Append(r.session, r.band, r.block, r.position, r.arm, r.station)
	}
	return b.Record()
}

func asJSON(v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return text
}

// complete fills in what the intake says if the case did not.
func (w *world) complete(end time.Time) {
	if w.intake.Read == 0 && w.intake.Background == 0 {
		w.intake.Read, w.intake.Used = 1000, 1000
	}
	if w.last.IsZero() {
		w.last = end
	}
	w.intake.Last = &w.last
}

type receptionRow struct {
	session, block int
	band, arm      string
	direction      string
	station        int
	slot           time.Time
	snr, dither    float64
	powerW         *float64
}

type listeningRow struct {
	session, block, position int
	band, arm                string
	station                  int
}

func (r receptionRow) compare(o receptionRow) int {
	return cmp.Or(cmp.Compare(r.session, o.session), cmp.Compare(r.band, o.band), cmp.Compare(r.block, o.block),
		cmp.Compare(r.arm, o.arm), cmp.Compare(r.direction, o.direction), cmp.Compare(r.station, o.station), r.slot.Compare(o.slot))
}

// addBlock adds the dwells of a block in a random order, and what the stations report in them.
func (w *world) addBlock(dwells *table.Builder, random *rand.Rand, at place, b int, start time.Time, rows *[]receptionRow) time.Time {
	arms := slices.Clone(w.arms)
	if random.IntN(2) == 1 {
		slices.Reverse(arms)
	}
	shared := w.blockSD * random.NormFloat64()
	var reason *string
	if text, lost := w.lost[at.block]; lost {
		reason = &text
	}
	for position, arm := range arms {
		from := start.Add(time.Duration(position) * 9 * time.Minute)
		dwells.Append(at.session, at.band, b+1, position+1, arm, w.putUp(at.session, arm), from, from.Add(30*time.Second), from.Add(dwellTime),
			11, reason == nil, reason, 0.0, true)
		for i, f := range w.stations {
			at.station, at.far = i, f
			w.report(random, at, b, arm, from, shared, rows)
			w.receive(at, b, arm, from, rows)
			if w.listens != nil && reason == nil && w.listens(at, arm) {
				w.listened = append(w.listened, listeningRow{at.session, b + 1, position + 1, at.band, arm, i})
			}
		}
	}
	return start.Add(9*time.Minute + dwellTime)
}

func (w *world) putUp(session int, arm string) int {
	if w.erection == nil {
		return session
	}
	return w.erection(session, arm)
}

func (w *world) report(random *rand.Rand, at place, b int, arm string, from time.Time, shared float64, rows *[]receptionRow) {
	for slot := 1; slot < 12; slot += w.everySlots {
		snr, dither := w.levelDB(at)+w.noiseDB*random.NormFloat64(), random.Float64()-0.5
		if arm == "high" {
			snr += w.diffDB(at) + shared
		}
		if w.noiseDB > 0 {
			snr = math.Round(snr)
		} else {
			dither = 0
		}
		if w.silent(at, arm, slot) || w.lost[at.block] != "" && !w.late(at.block) {
			continue
		}
		*rows = append(*rows, receptionRow{at.session, b + 1, at.band, arm, w.direction, at.station, from.Add(time.Duration(slot) * 30 * time.Second), snr, dither, nil})
	}
}

// receive adds what is received of a station, in the slots between.
func (w *world) receive(at place, b int, arm string, from time.Time, rows *[]receptionRow) {
	if w.returned == nil || w.lost[at.block] != "" {
		return
	}
	for slot := 1; slot < 11; slot += 2 {
		snr, watts := w.returned(at, arm, slot)
		if math.IsNaN(snr) {
			continue
		}
		row := receptionRow{at.session, b + 1, at.band, arm, "received", at.station, from.Add(time.Duration(slot)*30*time.Second + 15*time.Second), snr, 0, nil}
		if watts > 0 {
			row.powerW = &watts
		}
		*rows = append(*rows, row)
	}
}

func (w *world) stationTable() arrow.Record {
	b := table.NewBuilder(datasets.Stations())
	for i, s := range w.stations {
		if s.unknown {
			b.Append(i, s.call, "", nil, nil, nil, nil, nil, nil, "unknown")
			continue
		}
		b.Append(i, s.call, "MN83", "MN83", 43.0, 76.0, s.deg, s.km, s.radius, s.region)
	}
	return b.Record()
}

func (w *world) sweepTable() arrow.Record {
	b := table.NewBuilder(datasets.Sweeps())
	for i, s := range w.sweeps {
		b.Append(s.arm, s.sweep, s.plane, !s.calculated, s.mhz, nil, nil, cmp.Or(s.z0, 50), s.swr, s.low, s.high, s.returnLoss, s.mismatch, s.loss, i+2)
	}
	return b.Record()
}

// entry is an entry of verdicts.json as a reader sees it.
type entry struct {
	judge.Entry
	detail string
}

// checkRow holds the row of the table against the entry that it repeats.
func (e entry) checkRow(t *testing.T, r *table.Reader) {
	t.Helper()
	require.Equal(t, e.Claim, r.Str("claim"))
	require.Equal(t, e.Verdict, r.Str("verdict"))
	require.Equal(t, e.ReasonCode, r.Str("reason_code"))
	require.Equal(t, e.Reach, r.StrOrNil("reach"))
	require.Equal(t, e.P, r.FloatOrNil("p"))
	require.Equal(t, e.PAdjusted, r.FloatOrNil("p_adjusted"))
	require.Equal(t, e.EstimateDB, r.FloatOrNil("estimate_db"))
	require.Equal(t, e.Receptions, int(r.Int("receptions")))
	if e.IntervalDB == nil {
		require.True(t, r.Null("low_db") && r.Null("high_db"))
	} else {
		require.Equal(t, e.IntervalDB[0], r.FloatOrNil("low_db"))
		require.Equal(t, e.IntervalDB[1], r.FloatOrNil("high_db"))
	}
}

func (e entry) codes() []string {
	var out []string
	for _, w := range e.Warnings {
		out = append(out, w.Code)
	}
	return out
}

var schema = compiled()

func compiled() *jsonschema.Schema {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(datasets.VerdictsSchema))
	if err != nil {
		panic(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("verdicts.schema.json", doc); err != nil {
		panic(err)
	}
	return c.MustCompile("verdicts.schema.json#/$defs/claim")
}

// checkSchema holds every entry that a test makes against the JSON Schema.
func checkSchema(t *testing.T, detail string) {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader([]byte(detail)))
	require.NoError(t, err)
	require.NoError(t, schema.Validate(v), detail)
}
