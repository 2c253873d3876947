package judge

import (
	"context"
	"fmt"
	"math"
	"slices"

	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/internal/multiple"
)

// alpha is the level of every verdict.
const alpha = 0.05

// court is one run of the judge over one trial: what was calculated is kept, since several claims ask for it.
type court struct {
	Params
	*data
	evidence string
	why      string // the reason for the evidence, when it is not the best
	code     string
	family   int
	known    map[string]*contest
}

// contest is one pair of arms on one band in one direction, at some stations, the arm that stands first in the
// experiment file minus the other.
type contest struct {
	trial      *contrast.Trial
	level      contrast.Level
	stations   int
	regions    int
	receptions int
	inLobe     int                // of the receptions, those of stations that may enter a lobe
	strong     map[string]float64 // share of an arm's receptions above the strong end
	perArm     map[string][]float64
	usualGapMs float64 // see gaps
	spacingMs  float64
	sessions   []SessionEntry
	disagree   bool // the sessions' intervals do not overlap
	lobes      map[contrast.Shape]*contrast.Directivity
	gates      map[contrast.Shape]*contrast.Directivity // the same without the fit
	flat       *contrast.Trial                          // the same, with the azimuths of stations that may enter a lobe
	blocks     []block
	bearings   []float64 // of the first arm's receptions, see bearingsOf
}

func (p Params) judge(ctx context.Context, d *data) ([]*Entry, error) {
	c, entries, err := p.hold(ctx, d)
	if err != nil {
		return nil, err
	}
	if d.lateBlocks("") > 0 {
		_, others, err := p.hold(ctx, d.withoutLateDrops())
		if err != nil {
			return nil, err
		}
		c.weighDrops(entries, others)
	}
	c.crossWarn(entries)
	for _, e := range entries {
		e.finish()
	}
	return entries, nil
}

// hold judges every claim on every band.
func (p Params) hold(ctx context.Context, d *data) (*court, []*Entry, error) {
	c := &court{Params: p, data: d, known: map[string]*contest{}}
	c.evidence, c.code, c.why = p.evidenceOf(d)
	c.family = p.familySize()
	var entries []*Entry
	for n, claim := range p.Claims {
		for m, band := range p.Bands {
			if !claim.on(band.Name) {
				continue
			}
			if err := ctx.Err(); err != nil {
				return nil, nil, err
			}
			e := c.begin(claim, band)
			e.claimNumber, e.bandNumber = n, m
			if err := c.hear(e, band); err != nil {
				return nil, nil, fmt.Errorf("judging %q on %s: %w", claim.Name, band.Name, err)
			}
			entries = append(entries, e)
		}
	}
	c.adjust(entries)
	for _, e := range entries {
		c.decide(e)
	}
	return c, entries, nil
}

// familySize counts the questions that are corrected together: each of these claims on each of its bands.
func (p Params) familySize() int {
	n := 0
	for _, claim := range p.Claims {
		for _, band := range p.Bands {
			if InFamily(claim.Kind) && claim.on(band.Name) {
				n++
			}
		}
	}
	return n
}

// on tells whether the claim speaks of a band.
func (c Claim) on(band string) bool { return slices.Contains(c.Bands, band) }

// InFamily tells whether claims of a kind are corrected together for being many.
func InFamily(kind string) bool {
	return slices.Contains([]string{"level", "directivity", "heard_by", "reciprocity"}, kind)
}

// begin makes the entry with all that does not depend on receptions.
func (c *court) begin(claim Claim, band Band) *Entry {
	e := &Entry{
		Claim: claim.Name, Kind: claim.Kind, Band: band.Name, Arms: slices.Clone(claim.Arms),
		SmallestDB: &c.SmallestDB, BlocksPlanned: band.Planned, Warnings: []Warning{}, Sessions: []SessionEntry{},
		claim: claim, inFamily: InFamily(claim.Kind), AddedAfterSeal: claim.Added,
	}
	if claim.Added {
		e.warn("added_after_seal", "this claim was added after the seal: it may have been thought of because of the data, so it is exploratory; ask it in a new trial, sealed beforehand")
	}
	if claim.Kind == "match" {
		return e
	}
	if claim.Kind == "repeat" {
		e.Repeat = &Repeat{Repeated: []RepeatedArm{}}
	}
	direction, evidence := claim.Direction, c.evidence
	if claim.oneArm() {
		evidence = Observed
	}
	e.Direction, e.Evidence = &direction, &evidence
	if e.inFamily {
		size := c.family
		e.FamilySize = &size
	}
	for _, b := range c.blocks {
		switch {
		case b.band != band.Name:
		case b.kept && c.reached(b):
			e.Blocks++
		case b.lost:
			e.BlocksDropped++
		}
	}
	if claim.Kind == "directivity" {
		e.Directivity = &Directivity{Shape: claim.Shape, Sectors: []SectorEntry{}}
	}
	switch claim.Kind {
	case "heard_by":
		e.SmallestDB, e.HeardBy = nil, &HeardBy{SmallestPoints: claim.SmallestPoints}
	case "reciprocity":
		e.claim.Direction, e.Direction, e.Reciprocity = "", nil, &Reciprocity{}
	}
	return e
}

// hear calculates what the claim needs, before the correction for many claims.
func (c *court) hear(e *Entry, band Band) error {
	if e.Kind == "match" {
		c.hearMatch(e, band)
		return nil
	}
	c.warnOfInput(e)
	if c.refusedRows(e) {
		return nil
	}
	if e.claim.oneArm() {
		return c.refuseOneArm(e)
	}
	if e.Kind == "repeat" {
		return c.hearRepeat(e)
	}
	switch e.Kind {
	case "heard_by":
		return c.hearHeardBy(e)
	case "reciprocity":
		c.hearReciprocity(e)
		return nil
	}
	t, err := c.contest(e)
	if err != nil {
		return err
	}
	e.heard = t
	e.count(t)
	c.warnings(e, t)
	if e.Kind == "directivity" {
		c.hearDirectivity(e, t)
	} else {
		c.hearLevel(e, t)
		return c.lookBeside(e, band)
	}
	return nil
}

// refusedRows refuses where the spot files give nothing to judge.
func (c *court) refusedRows(e *Entry) bool {
	i := c.intake
	switch {
	case i.Read == 0:
		e.conclude(Refused, "no_reports", "no reports yet")
	case i.Used > 0:
		return false
	case i.Quarantined < i.Read && !c.complete():
		e.conclude(Refused, "no_usable_rows", noneOf(i.Read, " read is a usable report of the trial yet", " read is no usable report of the trial yet"))
	default:
		e.conclude(Refused, "no_usable_rows", noneOf(i.Read, " could be used", " could not be used")+": see tables/quarantine and where the rows went")
	}
	return true
}

// noneOf begins a sentence on rows that are all of no use: "none of the 12 rows could", "the only row could not".
func noneOf(n int, several, single string) string {
	if n == 1 {
		return "the only row" + single
	}
	return fmt.Sprintf("none of the %d rows%s", n, several)
}

// adjust corrects the p values of the family for being many. A claim without one counts in the family's size.
func (c *court) adjust(entries []*Entry) {
	var of []*Entry
	var ps []*float64
	for _, e := range entries {
		if e.inFamily {
			of, ps = append(of, e), append(ps, e.rawP)
		}
	}
	for i, p := range multiple.Holm(ps) {
		if p != nil {
			of[i].PAdjusted = roundP(*p)
		}
	}
}

// decide turns the numbers into a verdict, where none stands yet.
func (c *court) decide(e *Entry) {
	if e.Verdict != "" {
		return
	}
	reach := TheseReceivers
	e.Reach = &reach
	switch e.Kind {
	case "level":
		c.decideLevel(e)
	case "directivity":
		c.decideDirectivity(e)
	case "heard_by":
		c.decideHeardBy(e)
	case "reciprocity":
		c.decideReciprocity(e)
	case "null":
		c.decideNull(e)
	case "known_step":
		c.decideStep(e)
	case "repeat":
		c.decideRepeat(e)
	}
}

// crossWarn puts a warning on every verdict of a band on which the trial failed its own test.
func (c *court) crossWarn(entries []*Entry) {
	for _, failed := range entries {
		if failed.Verdict != Fails || failed.Kind != "null" && failed.Kind != "known_step" {
			continue
		}
		for _, e := range entries {
			if e != failed && e.Band == failed.Band {
				e.warn("trial_test_failed", fmt.Sprintf("the trial failed its own test %q on this band: look for what else changed with the arm", failed.Claim))
			}
		}
	}
}

// canonical tells how a claim's arms stand against the order of the experiment file.
func (p Params) canonical(arms []string) (first, second string, turned bool) {
	if slices.Index(p.Arms, arms[0]) > slices.Index(p.Arms, arms[1]) {
		return arms[1], arms[0], true
	}
	return arms[0], arms[1], false
}

// contest gathers the receptions of a comparison and calculates its level, once for all claims that ask for it.
func (c *court) contest(e *Entry) (*contest, error) {
	first, second, _ := c.canonical(e.Arms)
	within := "all"
	if w := e.claim.WithinKm; w != nil {
		within = fmt.Sprintf("%g-%g", w[0], w[1])
	}
	name := fmt.Sprintf("%q %q %s %s %s", first, second, e.Band, e.claim.Direction, within)
	if t, ok := c.known[name]; ok {
		return t, nil
	}
	blocks := c.blocksOf(e.Band, 0)
	all := inBlocks(c.selectReceptions(e, first, second), blocks)
	t := &contest{receptions: len(all), lobes: map[contrast.Shape]*contrast.Directivity{}, gates: map[contrast.Shape]*contrast.Directivity{}, blocks: blocks, bearings: c.bearingsOf(all, first)}
	var err error
	if t.trial, err = c.trialOf(all, blocks, first, nil); err != nil {
		return nil, err
	}
	if t.flat, err = c.trialOf(all, blocks, first, place.forDirectivity); err != nil {
		return nil, err
	}
	for _, r := range all {
		if c.stations[r.station].forDirectivity() {
			t.inLobe++
		}
	}
	t.level = t.trial.Level()
	t.stations = t.level.Stations
	t.regions = len(t.level.Beyond.Shares)
	t.weigh(all, first, second)
	t.usualGapMs, t.spacingMs = gaps(all)
	if err := c.perSession(t, all, e.Band, first); err != nil {
		return nil, err
	}
	c.known[name] = t
	return t, nil
}

// selectReceptions gives those of some arms that the claim speaks of. A station in the own square is in no verdict.
func (c *court) selectReceptions(e *Entry, arms ...string) []reception {
	return c.selectFrom(c.receptions, e, arms...)
}

func (c *court) selectFrom(all []reception, e *Entry, arms ...string) []reception {
	var out []reception
	for _, r := range all {
		if r.band != e.Band || r.direction != e.claim.Direction || !slices.Contains(arms, r.arm) || !c.counts(e, r.station) {
			continue
		}
		out = append(out, r)
	}
	return out
}

// counts tells whether the claim speaks of a station.
func (c *court) counts(e *Entry, station int) bool {
	s, w := c.stations[station], e.claim.WithinKm
	return !s.ownSquare && (w == nil || s.located && s.km >= w[0] && s.km <= w[1])
}

// blocksOf gives the blocks of a band that count, in order of time; session 0 means all.
func (c *court) blocksOf(band string, session int64) []block {
	var out []block
	for _, b := range c.blocks {
		if b.band == band && b.kept && c.reached(b) && (session == 0 || b.session == session) {
			out = append(out, b)
		}
	}
	return out
}

// inBlocks gives the receptions that lie in blocks that count.
func inBlocks(all []reception, blocks []block) []reception {
	count := map[[2]int64]bool{}
	for _, b := range blocks {
		count[[2]int64{b.session, b.number}] = true
	}
	return slices.DeleteFunc(all, func(r reception) bool { return !count[[2]int64{r.session, r.number}] })
}

// farEnds hands the stations to the statistics. Regions are numbered in the order of the stations' numbers.
func (c *court) farEnds(usable func(place) bool) []contrast.Station {
	regions := map[string]int{}
	stations := make([]contrast.Station, len(c.stations))
	for i, s := range c.stations {
		if _, ok := regions[s.region]; !ok {
			regions[s.region] = len(regions)
		}
		stations[i] = contrast.Station{Region: regions[s.region]}
		if s.located && (usable == nil || usable(s)) {
			stations[i].AzimuthRad, stations[i].HasAzimuth = s.azimuth*math.Pi/180, true
			stations[i].LogDistance = math.Log(max(s.km, nearestKm))
		}
	}
	return stations
}

// trialOf hands the receptions to the statistics.
func (c *court) trialOf(all []reception, blocks []block, first string, usable func(place) bool) (*contrast.Trial, error) {
	index := map[[2]int64]int{}
	for i, b := range blocks {
		index[[2]int64{b.session, b.number}] = i
	}
	var reports []contrast.Report
	second := first
	for _, r := range all {
		b, ok := index[[2]int64{r.session, r.number}]
		if !ok {
			continue
		}
		if r.arm != first {
			second = r.arm
		}
		reports = append(reports, contrast.Report{Block: b, Station: r.station, First: r.arm == first, Slot: r.slotMs, DitheredDB: r.dithered})
	}
	return contrast.New(c.farEnds(usable), reports, contrast.Params{
		Blocks: len(blocks), CutDB: c.CutDB, DecodedDB: c.CutDB - contrast.SoftDB, CeilingDB: contrast.LaggingDB,
		Seed: c.Seed, When: c.times(blocks, first, second)})
}

// times are those of the arms in the blocks. An arm without dwells of its own was on the air when the other one was.
func (c *court) times(blocks []block, first, second string) []contrast.Times {
	times := make([]contrast.Times, len(blocks))
	for i, b := range blocks {
		x, okX := b.middle(first, c.firstDwell)
		y, okY := b.middle(second, c.firstDwell)
		switch {
		case !okX:
			x = y
		case !okY:
			y = x
		}
		times[i] = contrast.Times{FirstS: x, SecondS: y}
	}
	return times
}
