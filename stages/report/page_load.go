package report

import (
	"cmp"
	"math"
	"slices"

	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
)

// claimBand is the key of the tables that show the work of the judge.
type claimBand struct{ claim, band int64 }

func claimBandOf(r *table.Reader) claimBand {
	return claimBand{r.Int("claim_number"), r.Int("band_number")}
}

// place is one row of table stations.
type place struct {
	number            int64
	call, locator     string
	bearing, distance *float64
}

// difference of a station, of table differences.
type stationDiff struct {
	station    int64
	db, weight float64
	blocks     int64
	inLobe     bool
}

// block of table blocks.
type blockDiff struct {
	session, block int64
	db             *float64
	weight         float64
	stations       int64
}

type lobePoint struct {
	azimuth, fit float64
	low, high    *float64
}

// pathRow is what the page shows of a row of table paths.
type pathRow struct {
	band                        string
	station                     int64
	sunOwn, sunMiddle, sunFar   float64
	class                       string
	e, eMore, low, lowMore      *float64 // take-off angles
	high, highMore              *float64
	eHops, lowHops, highHops    *int64
	longPath                    bool
	longPathKm, longPathBearing float64
}

type reading struct {
	arm, sweep, plane string
	measured          bool
	mhz, z0           float64 // z0: what swr and returnLoss refer to, ohm
	swr, returnLoss   *float64
}

// scheduled is a block as the schedule has it, kept or not.
type scheduled struct {
	session, block int64
	band           string
	kept           bool
	reason         string
	begun          string // time of its first dwell
}

// tables is what the page reads beside the verdicts.
type tables struct {
	places      map[int64]place
	differences map[claimBand][]stationDiff
	blocks      map[claimBand][]blockDiff
	lobes       map[claimBand][]lobePoint
	keys        []claimBand // of the entries, in their order
	paths       []pathRow
	readings    []reading
	schedule    []scheduled
}

func load(in *pipeline.Input) *tables {
	t := &tables{places: map[int64]place{}, differences: map[claimBand][]stationDiff{}, blocks: map[claimBand][]blockDiff{}, lobes: map[claimBand][]lobePoint{}}
	for r := table.NewReader(in.Table("verdicts")); r.Next(); {
		t.keys = append(t.keys, claimBandOf(r))
	}
	t.loadStations(table.NewReader(in.Table("stations")))
	for r := table.NewReader(in.Table("differences")); r.Next(); {
		d := stationDiff{r.Int("station"), r.Float("difference_db"), r.Float("weight"), r.Int("blocks"), r.Bool("in_lobe")}
		if finite(d.db) && finite(d.weight) {
			t.differences[claimBandOf(r)] = append(t.differences[claimBandOf(r)], d)
		}
	}
	for r := table.NewReader(in.Table("blocks")); r.Next(); {
		b := blockDiff{r.Int("session"), r.Int("block"), figure(r, "difference_db"), orZero(figure(r, "weight")), r.Int("stations")}
		t.blocks[claimBandOf(r)] = append(t.blocks[claimBandOf(r)], b)
	}
	for r := table.NewReader(in.Table("lobes")); r.Next(); {
		l := lobePoint{r.Float("azimuth_deg"), r.Float("fit_db"), figure(r, "low_db"), figure(r, "high_db")}
		if finite(l.fit) {
			t.lobes[claimBandOf(r)] = append(t.lobes[claimBandOf(r)], l)
		}
	}
	t.loadPaths(table.NewReader(in.Table("paths")))
	for r := table.NewReader(in.Table("sweeps")); r.Next(); {
		t.readings = append(t.readings, reading{r.Str("arm"), r.Str("sweep"), r.Str("plane"), r.Bool("measured"), r.Float("frequency_mhz"), r.Float("z0_ohm"), figure(r, "swr"), figure(r, "return_loss_db")})
	}
	t.loadSchedule(table.NewReader(in.Table("dwells")))
	return t
}

// figure gives a number that exists and is one, or nil.
func figure(r *table.Reader, column string) *float64 {
	if v := r.FloatOrNil(column); v != nil && finite(*v) {
		return v
	}
	return nil
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func word(r *table.Reader, column string) string {
	if r.Null(column) {
		return ""
	}
	return r.Str(column)
}

func (t *tables) loadStations(r *table.Reader) {
	for r.Next() {
		t.places[r.Int("number")] = place{r.Int("number"), clean(r.Str("call")), clean(word(r, "locator")), figure(r, "bearing_deg"), figure(r, "distance_km")}
	}
}

func (t *tables) loadPaths(r *table.Reader) {
	for r.Next() {
		t.paths = append(t.paths, pathRow{
			band: r.Str("band"), station: r.Int("station"), class: r.Str("distance_class"),
			sunOwn: r.Float("sun_own_deg"), sunMiddle: r.Float("sun_midpoint_deg"), sunFar: r.Float("sun_far_deg"),
			e: figure(r, "e_takeoff_deg"), eMore: figure(r, "e_more_takeoff_deg"), eHops: r.IntOrNil("e_hops"),
			low: figure(r, "f2_low_takeoff_deg"), lowMore: figure(r, "f2_low_more_takeoff_deg"), lowHops: r.IntOrNil("f2_low_hops"),
			high: figure(r, "f2_high_takeoff_deg"), highMore: figure(r, "f2_high_more_takeoff_deg"), highHops: r.IntOrNil("f2_high_hops"),
			longPath: r.Bool("long_path_plausible"), longPathKm: r.Float("long_path_km"), longPathBearing: r.Float("long_path_bearing_deg"),
		})
	}
}

// loadSchedule gives each block once, in the order of time.
func (t *tables) loadSchedule(r *table.Reader) {
	type key struct {
		session, block int64
		band           string
	}
	seen := map[key]bool{}
	for r.Next() {
		k := key{r.Int("session"), r.Int("block"), r.Str("band")}
		if seen[k] {
			continue
		}
		seen[k] = true
		t.schedule = append(t.schedule, scheduled{k.session, k.block, k.band, r.Bool("kept"), clean(word(r, "reason")), r.Time("start").Format("2006-01-02 15:04Z")})
	}
}

// comparison is what the pictures show of two arms on a band: the claims that rest on the same differences share it.
type comparison struct {
	number          int
	band, direction string
	arms            []string
	claims          []string
	smallestDB      float64
	stations        []placed
	unplaced        int // stations without a bearing
	blocks          []blockDiff
	level           *entry // the claim that gives one difference over all, if there is one
	lobes           []shownLobe
	differences     []stationDiff
}

// placed is a station's difference with its place. share is its weight over the greatest of the comparison.
type placed struct {
	stationDiff
	place
	bearing, distance float64
	share             float64
	longPath          bool
}

// shownLobe is the lobe of one directivity claim.
type shownLobe struct {
	entry  *entry
	points []lobePoint
}

// comparisons groups the claims by what they compare.
func (t *tables) comparisons(entries []entry) []*comparison {
	var out []*comparison
	for i := range entries {
		e, key := &entries[i], t.keys[i]
		if len(e.Arms) != 2 || len(t.differences[key])+len(t.blocks[key])+len(t.lobes[key]) == 0 {
			continue
		}
		c := find(out, e, t.differences[key])
		if c == nil {
			c = &comparison{number: len(out) + 1, band: e.Band, direction: e.direction(), arms: e.Arms, smallestDB: e.SmallestDB, differences: t.differences[key]}
			t.settle(c)
			out = append(out, c)
		}
		c.claims = append(c.claims, e.Claim)
		if len(c.blocks) == 0 {
			c.blocks = t.blocks[key]
		}
		if e.Kind == "directivity" {
			c.lobes = append(c.lobes, shownLobe{e, t.lobes[key]})
		} else if c.level == nil {
			c.level = e
		}
	}
	return out
}

func find(all []*comparison, e *entry, differences []stationDiff) *comparison {
	for _, c := range all {
		if c.band == e.Band && c.direction == e.direction() && slices.Equal(c.arms, e.Arms) && slices.Equal(c.differences, differences) {
			return c
		}
	}
	return nil
}

// settle gives the stations of a comparison their places.
func (t *tables) settle(c *comparison) {
	long := map[int64]bool{}
	for _, p := range t.paths {
		if p.longPath && p.band == c.band {
			long[p.station] = true
		}
	}
	heaviest := 0.0
	for _, d := range c.differences {
		heaviest = max(heaviest, d.weight)
	}
	for _, d := range c.differences {
		at := t.places[d.station]
		if at.bearing == nil || at.distance == nil {
			c.unplaced++
			continue
		}
		p := placed{stationDiff: d, place: at, bearing: *at.bearing, distance: *at.distance, longPath: long[d.station]}
		if heaviest > 0 {
			p.share = max(0, d.weight/heaviest)
		}
		c.stations = append(c.stations, p)
	}
	slices.SortStableFunc(c.stations, func(a, b placed) int { return cmp.Compare(a.number, b.number) })
}

// sectorCounts counts the stations of each sector, from north clockwise, if their bearing is known well enough.
func (c *comparison) sectorCounts() []int {
	counts := make([]int, 360/sectorWidth)
	for _, d := range c.stations {
		if !d.inLobe {
			continue
		}
		counts[int(d.bearing/sectorWidth)%len(counts)]++
	}
	return counts
}

// crowd is how much marks shrink where there are many of them.
func (c *comparison) crowd() float64 {
	const few, least = 60, 0.6
	return max(least, min(1, math.Sqrt(few/max(1, float64(len(c.stations))))))
}

// vague counts the stations whose bearing is not known well enough for a sector.
func (c *comparison) vague() int {
	n := 0
	for _, d := range c.stations {
		if !d.inLobe {
			n++
		}
	}
	return n
}
