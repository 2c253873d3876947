// Package locate tells the stations of a trial apart and says where they are.
//
// A station is a call with its suffix and a place. A locator that contains another (MN83 and MN83kp) is the
// same place less exactly told, and the longest one stands for it; exact positions within 1 km are one place (see
// package station). Places that can't agree are two stations.
// Rows of a call that tell no place, or one that contains several of the call's places, belong to the call's one place,
// or to a station without a place if it has none or several.
//
// Stations are numbered from 0 by their first trial slot, then distance, bearing and call. Everything random or
// sorted that comes later uses the number, so that a table without calls gives the same results.
//
// Whoever the background shows listening and never heard the own station, nor was heard by it, is a station too: of
// those that listened, the share that hears an arm is asked for. These are numbered after all others, by distance,
// bearing and call, so that nobody else's number moves, and they do not set the distance classes. A call of this kind is
// one station; it has no place if the background tells several for it, or none.
//
// A region is a sector of 30 degrees and a distance class. The statistics treat receivers of one region as not
// independent (see package contrast). Bearing and distance are rounded to 1 degree and 10 km before the region is
// told, as the judge rounds them.
package locate

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/diag"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/locator"
	"fairlobe/stages/internal/station"
)

// TableStations is the name of the stage's output.
const TableStations = "stations"

// Params are the stage's parameters.
type Params struct {
	Locator string // of the own station
}

// Stage makes the stage: from tables spots, background and listeners to table stations.
func Stage(p Params) pipeline.Stage {
	return pipeline.Stage{
		Name: "stations", Version: 5, Needs: []string{"background", "listeners", "spots"}, Params: p,
		Makes: []pipeline.Output{{Name: TableStations, Schema: datasets.Stations()}},
		Run: func(_ context.Context, in *pipeline.Input) (*pipeline.Result, error) {
			home, err := locator.Decode(p.Locator)
			if err != nil {
				return nil, fmt.Errorf("placing the own station: %w", err)
			}
			stations, notes := identify(readSightings(in.Table("spots")))
			stations = append(stations, onlyListening(in.Table("background"), in.Table("listeners"), stations)...)
			locateAll(stations, home)
			return &pipeline.Result{Tables: map[string]arrow.Record{TableStations: encode(stations)}, Notes: notes}, nil
		},
	}
}

// sighting is one usable spot as far as identity goes.
type sighting struct {
	call string
	station.Place
	slot time.Time
}

// readSightings takes the blocks that a late drop took out too, so that this drop renumbers no station.
func readSightings(rec arrow.Record) []sighting {
	fates := []string{datasets.FateUsed, datasets.FateMerged, datasets.FateDroppedLate}
	var out []sighting
	for r := table.NewReader(rec); r.Next(); {
		if !slices.Contains(fates, r.Str("fate")) {
			continue
		}
		out = append(out, sighting{call: station.Far(r), Place: station.PlaceOf(r), slot: r.Time("slot")})
	}
	return out
}

// onlyListening gives those of the background that are no stations yet.
func onlyListening(background, listeners arrow.Record, known []*entry) []*entry {
	isKnown := map[string]bool{}
	for _, s := range known {
		isKnown[s.call] = true
	}
	told := map[string][]station.Place{}
	for r := table.NewReader(background); r.Next(); {
		if call := r.Str("receiver"); !isKnown[call] {
			told[call] = nil
		}
	}
	for r := table.NewReader(listeners); r.Next(); {
		call := r.Str("receiver")
		if _, ok := told[call]; ok {
			told[call] = append(told[call], station.PlaceOf(r))
		}
	}
	var out []*entry
	for _, call := range slices.Sorted(maps.Keys(told)) {
		s := &entry{call: call, onlyListens: true}
		if places := station.Places(told[call]); len(places) == 1 {
			s.place = places[0]
		}
		out = append(out, s)
	}
	return out
}

// entry is one row of table stations in the making.
type entry struct {
	call                  string
	place                 station.Place
	first                 time.Time
	onlyListens           bool // the background alone tells of it
	lat, lon              *float64
	bearing, distance     *float64
	radius                *float64
	region                string
	roundedDeg, roundedKm float64
}

// identify gathers the sightings of each call into stations.
func identify(all []sighting) ([]*entry, diag.List) {
	calls := map[string][]sighting{}
	for _, s := range all {
		calls[s.call] = append(calls[s.call], s)
	}
	names := make([]string, 0, len(calls))
	for call := range calls {
		names = append(names, call)
	}
	slices.Sort(names)
	var out []*entry
	var several []string
	for _, call := range names {
		places := station.Places(keysOf(calls[call]))
		if len(places) > 1 {
			several = append(several, fmt.Sprintf("%s (%d)", call, len(places)))
		}
		out = append(out, ofCall(call, places, calls[call])...)
	}
	return out, warnPlaces(several)
}

// mostNamed bounds the calls that a warning names.
const mostNamed = 5

// warnPlaces warns of calls with several places, in one note however many they are.
func warnPlaces(calls []string) diag.List {
	if len(calls) == 0 {
		return nil
	}
	who := "1 call reports"
	if len(calls) > 1 {
		who = fmt.Sprintf("%d calls report", len(calls))
	}
	named := strings.Join(calls[:min(mostNamed, len(calls))], ", ")
	if more := len(calls) - mostNamed; more > 0 {
		named += fmt.Sprintf(" and %d more", more)
	}
	return diag.List{{Severity: diag.Warning, Code: "two_places",
		Msg: fmt.Sprintf("%s from more than one place: %s; each place counts as a station of its own", who, named)}}
}

func keysOf(all []sighting) []station.Place {
	out := make([]station.Place, len(all))
	for i, s := range all {
		out[i] = s.Place
	}
	return out
}

func ofCall(call string, places []station.Place, seen []sighting) []*entry {
	found := map[int]*entry{}
	var order []int
	for _, s := range seen {
		i := station.Choose(places, s.Place)
		st := found[i]
		if st == nil {
			st = &entry{call: call, first: s.slot}
			if i >= 0 {
				st.place = places[i]
			}
			found[i] = st
			order = append(order, i)
		}
		if s.slot.Before(st.first) {
			st.first = s.slot
		}
	}
	slices.Sort(order)
	out := make([]*entry, len(order))
	for n, i := range order {
		out[n] = found[i]
	}
	return out
}

// locateAll fills in where the stations are, sorts them into the order of their numbers, and tells their regions.
func locateAll(all []*entry, home locator.Cell) {
	at := home.Centre()
	for _, s := range all {
		s.locate(at)
	}
	classes := distanceClasses(all)
	for _, s := range all {
		s.region = s.regionOf(home, classes)
	}
	slices.SortFunc(all, func(a, b *entry) int {
		return cmp.Or(falseFirst(a.onlyListens, b.onlyListens), a.first.Compare(b.first), compareNullLast(a.distance, b.distance), compareNullLast(a.bearing, b.bearing),
			cmp.Compare(a.call, b.call), cmp.Compare(a.place.Key(), b.place.Key()))
	})
}

func falseFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

func compareNullLast(a, b *float64) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return 1
	case b == nil:
		return -1
	}
	return cmp.Compare(*a, *b)
}

func (s *entry) locate(home geo.Point) {
	var at geo.Point
	radius := 0.0
	switch {
	case s.place.Exact:
		at = geo.Point{LatDeg: s.place.Lat, LonDeg: s.place.Lon}
	case s.place.Locator != "":
		cell, err := locator.Decode(s.place.Locator)
		if err != nil {
			return
		}
		at, radius = cell.Centre(), locator.RadiusKm(cell)
	default:
		return
	}
	s.lat, s.lon, s.radius = &at.LatDeg, &at.LonDeg, &radius
	km, deg, ok := geo.Inverse(home, at)
	s.distance = &km
	if ok {
		s.bearing = &deg
	}
	s.round()
}

// round sets what the judge sees of bearing and distance.
func (s *entry) round() {
	if s.distance != nil {
		s.roundedKm = station.RoundKm(*s.distance)
	}
	if s.bearing != nil {
		s.roundedDeg = station.RoundDeg(*s.bearing)
	}
}

// distanceClasses gives the lower bounds of the classes, and the last one's name.
func distanceClasses(all []*entry) []float64 {
	for _, s := range all {
		if !s.onlyListens && s.distance != nil && s.roundedKm > 1000 {
			return []float64{0, 1200, 2700}
		}
	}
	return []float64{0, 200, 500}
}

func (s *entry) regionOf(home locator.Cell, classes []float64) string {
	if s.distance == nil {
		return station.RegionUnknown
	}
	if s.inSquare(home) {
		return station.RegionOwnSquare
	}
	if s.bearing == nil {
		return station.RegionUnknown
	}
	sector := int(s.roundedDeg) / 30 * 30
	class := 0
	for i, from := range classes {
		if s.roundedKm >= from {
			class = i
		}
	}
	km := fmt.Sprintf("%.0f-", classes[class])
	if class+1 < len(classes) {
		km += fmt.Sprintf("%.0f", classes[class+1])
	}
	return fmt.Sprintf("%03d-%03d deg, %s km", sector, sector+30, km)
}

// inSquare tells whether the station stands in the own station's square, the cell of four characters.
func (s *entry) inSquare(home locator.Cell) bool {
	square, err := locator.Decode(home.Text[:min(4, len(home.Text))])
	if err != nil {
		return false
	}
	// The pole belongs to the last row, as in package locator.
	return *s.lat >= square.South && (*s.lat < square.North || *s.lat == 90 && square.North == 90) &&
		*s.lon >= square.West && *s.lon < square.East
}

func encode(all []*entry) arrow.Record {
	b := table.NewBuilder(datasets.Stations())
	for i, s := range all {
		var loc *string
		if s.place.Locator != "" {
			loc = &s.place.Locator
		}
		b.Append(i, s.call, s.place.Key(), loc, s.lat, s.lon, s.bearing, s.distance, s.radius, s.region)
	}
	return b.Record()
}
