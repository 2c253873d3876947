package paths

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/geo"
	"fairlobe/stages/internal/locator"
)

const home = "MN83kp"

func at(clock string) time.Time {
	t, err := time.Parse(time.DateTime, "2026-09-12 "+clock)
	if err != nil {
		panic(err)
	}
	return t
}

// dwell is one row of table dwells; heard one of receptions; stand one of stations, with a place unless lat is NaN.
type dwell struct {
	session, block, position int
	band                     string
	start, settle, end       time.Time
	kept                     bool
}

type heard struct {
	session        int
	band           string
	block          int
	arm, direction string
	station        int
	slot           time.Time
}

type stand struct{ lat, lon float64 }

var nowhere = stand{math.NaN(), 0}

func dwellTable(rows []dwell) arrow.Record {
	b := table.NewBuilder(datasets.Dwells())
	for _, d := range rows {
		b.Append(d.session, d.band, d.block, d.position, "low", 1, d.start, d.settle, d.end, 10, d.kept, nil, 0.0, true)
	}
	return b.Record()
}

func receptionTable(rows []heard) arrow.Record {
	b := table.NewBuilder(datasets.Receptions())
	for _, h := range rows {
		b.Append(h.session, h.band, h.block, h.arm, h.direction, h.station, h.slot, -3.0, 0.1, nil)
	}
	return b.Record()
}

// stationTable places stations as the stage before this one does.
func stationTable(own string, all []stand) arrow.Record {
	cell, err := locator.Decode(own)
	if err != nil {
		panic(err)
	}
	b := table.NewBuilder(datasets.Stations())
	for i, s := range all {
		call := fmt.Sprintf("Q%dAB", i)
		if math.IsNaN(s.lat) {
			b.Append(i, call, "", nil, nil, nil, nil, nil, nil, "unknown")
			continue
		}
		km, deg, ok := geo.Inverse(cell.Centre(), geo.Point{LatDeg: s.lat, LonDeg: s.lon})
		region, bearing := "a sector", &deg
		if !ok {
			region, bearing = "unknown", nil
		}
		if km < 5 {
			region = "own square"
		}
		b.Append(i, call, "x", nil, s.lat, s.lon, bearing, km, 0.0, region)
	}
	return b.Record()
}

func run(own string, dwells []dwell, stations arrow.Record, receptions []heard) (arrow.Record, error) {
	stage := Stage(Params{Locator: own})
	in := pipeline.NewInput(context.Background(), memory.DefaultAllocator, map[string]arrow.Record{
		"dwells": dwellTable(dwells), "stations": stations, "receptions": receptionTable(receptions),
	}, nil)
	res, err := stage.Run(context.Background(), in)
	if err != nil {
		return nil, err
	}
	rec := res.Tables[TablePaths]
	if err := table.Validate(rec, stage.Makes[0].Schema); err != nil {
		return nil, err
	}
	return rec, table.CheckSorted(rec, table.SortKeys(stage.Makes[0].Schema))
}

// oneBlock is a block of two dwells whose middle is noon at 04:00.
func oneBlock() []dwell {
	return []dwell{
		{1, 1, 1, "20m", at("03:50:00"), at("03:50:30"), at("03:56:00"), true},
		{1, 1, 2, "20m", at("03:56:00"), at("03:56:30"), at("04:09:30"), true},
	}
}

func hearing(stations ...int) []heard {
	var out []heard
	for _, n := range stations {
		out = append(out, heard{1, "20m", 1, "low", "sent", n, at("03:52:00")})
	}
	return out
}

// oneRow runs the stage for one station in one block.
func oneRow(t *testing.T, own string, s stand) *table.Reader {
	t.Helper()
	rec, err := run(own, oneBlock(), stationTable(own, []stand{s}), hearing(0))
	require.NoError(t, err)
	r := table.NewReader(rec)
	require.True(t, r.Next(), "the station has no row")
	return r
}

// One row for each block and station, whichever the arm and direction; stations without a place, in the own square and at the
// antipode have none.
func TestRows(t *testing.T) {
	cell, err := locator.Decode(home)
	require.NoError(t, err)
	own := cell.Centre()
	stations := stationTable(home, []stand{
		{50, 80}, nowhere, {own.LatDeg, own.LonDeg}, {own.LatDeg + 0.01, own.LonDeg}, {-own.LatDeg, own.LonDeg - 180}, {-33, 151},
	})
	dwells := append(oneBlock(),
		dwell{1, 1, 1, "10m", at("04:10:00"), at("04:10:30"), at("04:16:00"), true},
		dwell{1, 2, 1, "20m", at("04:20:00"), at("04:20:30"), at("04:26:00"), true},
		dwell{1, 3, 1, "20m", at("04:30:00"), at("04:30:30"), at("04:36:00"), false},
		dwell{2, 1, 1, "20m", at("05:20:00"), at("05:20:30"), at("05:26:00"), true})
	receptions := append(hearing(5, 4, 3, 2, 1, 0),
		heard{1, "20m", 1, "low", "sent", 0, at("03:53:00")}, heard{1, "20m", 1, "high", "received", 0, at("03:58:00")},
		heard{2, "20m", 1, "high", "sent", 0, at("05:21:00")}, heard{1, "20m", 2, "high", "sent", 0, at("04:21:00")},
		heard{1, "10m", 1, "high", "sent", 5, at("04:11:00")})
	rec, err := run(home, dwells, stations, receptions)
	require.NoError(t, err)
	var got []string
	for r := table.NewReader(rec); r.Next(); {
		got = append(got, fmt.Sprintf("%d %s %d: %d at %s", r.Int("session"), r.Str("band"), r.Int("block"), r.Int("station"), r.Time("middle").Format(time.TimeOnly)))
	}
	require.Equal(t, []string{
		"1 10m 1: 5 at 04:13:15", "1 20m 1: 0 at 04:00:00", "1 20m 1: 5 at 04:00:00", "1 20m 2: 0 at 04:23:15", "2 20m 1: 0 at 05:23:15",
	}, got)
}

func TestNoReceptions(t *testing.T) {
	rec, err := run(home, oneBlock(), stationTable(home, nil), nil)
	require.NoError(t, err)
	require.Zero(t, rec.NumRows())
}

// Tables that contradict each other are a fault, not a gap.
func TestTablesThatContradict(t *testing.T) {
	stations := stationTable(home, []stand{{50, 80}})
	_, err := run("ZZ99", oneBlock(), stations, hearing(0))
	require.ErrorContains(t, err, "placing the own station")
	_, err = run(home, oneBlock(), stations, hearing(1))
	require.EqualError(t, err, "receptions of station 1, which is not in table stations")
	_, err = run(home, nil, stations, hearing(0))
	require.EqualError(t, err, "receptions of session 1, 20m, block 1, but no dwell of it counts")
	dropped := oneBlock()
	dropped[0].kept, dropped[1].kept = false, false
	_, err = run(home, dropped, stations, hearing(0))
	require.ErrorContains(t, err, "no dwell of it counts")
}

// The middle lies between the first moment that counts and the last, in whole milliseconds; dropped dwells don't count, and their
// order is no matter.
func TestMiddle(t *testing.T) {
	d := oneBlock()
	key := block{1, "20m", 1}
	require.Equal(t, at("04:00:00"), middles(dwellTable(d))[key])
	require.Equal(t, at("04:00:00"), middles(dwellTable([]dwell{d[1], d[0]}))[key])
	d[1].kept = false
	require.Equal(t, at("03:53:15"), middles(dwellTable(d))[key])
	d[0].end = d[0].end.Add(3 * time.Millisecond)
	require.Equal(t, at("03:53:15").Add(time.Millisecond), middles(dwellTable(d))[key])
	d[0].kept = false
	require.Empty(t, middles(dwellTable(d)))
}

// Bounds of the classes in km, after rounding to 10 km; the classes are common practice.
func TestDistanceClasses(t *testing.T) {
	for _, c := range []struct {
		km   float64
		want string
	}{
		{6, "under 100 km"}, {94.9, "under 100 km"}, {95, "100-500 km"}, {494.9, "100-500 km"}, {495, "500-1000 km"},
		{994.9, "500-1000 km"}, {995, "1000-2000 km"}, {1994.9, "1000-2000 km"}, {1995, "2000-4000 km"}, {3994.9, "2000-4000 km"},
		{3995, "over 4000 km"}, {20003, "over 4000 km"},
	} {
		require.Equal(t, c.want, distanceClass(c.km), "%g km", c.km)
	}
}

// Take-off angles by plane geometry on a round Earth of 6371 km, calculated apart for these distances and rounded to 4
// decimals: tan e = (cos b - R/(R+h)) / sin b, b = D/(2 n R).
func TestHops(t *testing.T) {
	for _, c := range []struct {
		heightKm, groundKm float64
		want               [3]float64 // hops, take-off angle, with one hop more
	}{
		{110, 300, [3]float64{1, 35.3435, 55.1460}},
		{250, 300, [3]float64{1, 57.8672, 72.6544}},
		{350, 300, [3]float64{1, 65.5586, 77.2458}},
		{110, 1700, [3]float64{1, 3.4785, 12.4759}},
		{110, 1800, [3]float64{2, 11.5942, 18.6253}},
		{250, 2500, [3]float64{1, 5.4422, 18.5942}},
		{350, 3000, [3]float64{1, 5.9925, 21.0297}},
		{110, 4000, [3]float64{3, 6.2845, 10.0500}},
		{250, 8000, [3]float64{3, 4.3871, 9.2527}},
		{350, 19000, [3]float64{6, 4.9614, 7.9364}},
	} {
		h := hopsBy(c.heightKm, c.groundKm)
		require.Equal(t, c.want, [3]float64{float64(h.fewest), round(h.takeoffDeg), round(h.moreTakeoffDeg)}, "%g km by %g km", c.groundKm, c.heightKm)
	}
}

// In the table each mirror stands in its own columns: the higher one leaves steeper, and in one hop.
func TestColumnsOfHops(t *testing.T) {
	r := oneRow(t, home, stand{50, 80})
	km, _, _ := geo.Inverse(centre(home), geo.Point{LatDeg: 50, LonDeg: 80})
	for prefix, height := range map[string]float64{"e": 110, "f2_low": 250, "f2_high": 350} {
		h := hopsBy(height, km)
		require.Equal(t, int64(1), r.Int(prefix+"_hops"))
		require.Equal(t, round(h.takeoffDeg), r.Float(prefix+"_takeoff_deg"))
		require.Equal(t, round(h.moreTakeoffDeg), r.Float(prefix+"_more_takeoff_deg"))
	}
	require.Less(t, r.Float("e_takeoff_deg"), r.Float("f2_low_takeoff_deg"))
	require.Less(t, r.Float("f2_low_takeoff_deg"), r.Float("f2_high_takeoff_deg"))
}

func centre(text string) geo.Point {
	cell, err := locator.Decode(text)
	if err != nil {
		panic(err)
	}
	return cell.Centre()
}

// Elevations of the sun on 2024-03-20 at 03:06:00 UTC by astropy 5.2.1 (rows S001 to S005 of package sun's testdata/position.csv); 0.02
// degrees, as there. Own and far station stand at two of the places; of the first pair, the middle does too.
func TestSun(t *testing.T) {
	const equator, north, south, ice, pole = -45.356488, -23.878503, 53.192063, 10.432188, -0.002395921
	anywhere := math.NaN()
	for _, c := range []struct {
		name              string
		own               stand
		far               stand
		atOwn, mid, atFar float64
	}{
		{"across the equator's first meridian", stand{0, -10}, stand{0, 10}, anywhere, equator, anywhere},
		{"north to south", stand{47.25, 8.75}, stand{-33.75, 151}, north, anywhere, south},
		{"south to north", stand{-33.75, 151}, stand{47.25, 8.75}, south, anywhere, north},
		{"the ice to the pole", stand{-77.75, 166.75}, stand{90, 0}, ice, anywhere, pole},
	} {
		own, err := locator.Encode(c.own.lat, c.own.lon, 10)
		require.NoError(t, err)
		noon := time.Date(2024, 3, 20, 3, 6, 0, 0, time.UTC)
		rec, err := run(own, []dwell{{1, 1, 1, "20m", noon.Add(-time.Hour), noon.Add(-time.Minute), noon.Add(time.Minute), true}},
			stationTable(own, []stand{c.far}), hearing(0))
		require.NoError(t, err)
		r := table.NewReader(rec)
		require.True(t, r.Next())
		for column, want := range map[string]float64{"sun_own_deg": c.atOwn, "sun_midpoint_deg": c.mid, "sun_far_deg": c.atFar} {
			if !math.IsNaN(want) {
				require.InDelta(t, want, r.Float(column), 0.02, "%s, %s", c.name, column)
			}
		}
	}
}

// Poles and the date line are places like all others.
func TestPolesAndDateLine(t *testing.T) {
	north := oneRow(t, home, stand{90, 17})
	require.Equal(t, 180.0, north.Float("long_path_bearing_deg"))
	require.Equal(t, north.Float("sun_far_deg"), oneRow(t, home, stand{90, -120}).Float("sun_far_deg"))
	south := oneRow(t, home, stand{-90, 0})
	require.Equal(t, 0.0, south.Float("long_path_bearing_deg"))
	require.InDelta(t, -north.Float("sun_far_deg"), south.Float("sun_far_deg"), 1e-4)

	over := oneRow(t, "RJ90aa", stand{0.5, -179.5}) // 2.5 degrees of longitude at the equator are 270 km
	require.Equal(t, "100-500 km", over.Str("distance_class"))
	require.InDelta(t, over.Float("sun_own_deg"), over.Float("sun_midpoint_deg"), 1.25)
	for _, column := range []string{"sun_far_deg", "sun_midpoint_deg", "long_path_km"} {
		require.Equal(t, oneRow(t, home, stand{10, 180}).Float(column), oneRow(t, home, stand{10, -180}).Float(column), column)
	}
}

// The long path is 2 pi 6371.0088 km less the short one, the other way (convention, no source).
func TestLongPath(t *testing.T) {
	far := geo.Point{LatDeg: -33, LonDeg: 151}
	km, deg, _ := geo.Inverse(centre(home), far)
	r := oneRow(t, home, stand{far.LatDeg, far.LonDeg})
	require.InDelta(t, 2*math.Pi*6371.0088-km, r.Float("long_path_km"), 1e-4)
	require.InDelta(t, deg+180, r.Float("long_path_bearing_deg"), 1e-4)
}

// The rule: 10,000 km or more, and the sun within 12 degrees of the horizon at both ends (common practice, no source).
func TestLongPathPlausible(t *testing.T) {
	for _, c := range []struct {
		rule         string
		km, own, far float64
		want         bool
	}{
		{"far, the sun rising here and setting there", 17000, 2, -3, true},
		{"at the bounds", 10000, 12, -12, true},
		{"just nearer", 9999.9, 0, 0, false},
		{"short", 300, 0, 0, false},
		{"daylight here", 17000, 12.001, 0, false},
		{"daylight there", 17000, 0, 40, false},
		{"night here", 17000, -12.001, 0, false},
		{"night there", 17000, 0, -50, false},
	} {
		require.Equal(t, c.want, longPathPlausible(c.km, c.own, c.far), c.rule)
	}
}

// On a short path it is never plausible, wherever the sun stands. At the antipode the sun stands as far below the horizon as it stands
// above it here; there it is plausible while the sun passes from -12 to 12 degrees and back. By cos H = (sin h - sin lat sin dec) /
// (cos lat cos dec), with a latitude of 43.65 and a declination of 4.1 degrees on the day, that takes 134 minutes each. The 3
// minutes allow for the steps of one minute at four ends.
func TestLongPathByHour(t *testing.T) {
	own, plausible := centre(home), 0
	near := place{at: geo.Point{LatDeg: 50, LonDeg: 80}, distanceKm: 900}
	far := place{at: geo.Point{LatDeg: -own.LatDeg, LonDeg: own.LonDeg - 180}, distanceKm: 20000}
	for minutes := range 24 * 60 {
		s := skyAt(at("00:00:00").Add(time.Duration(minutes)*time.Minute), own)
		require.False(t, s.over(lineTo(own, near)).longPathPlausible)
		if s.over(lineTo(own, far)).longPathPlausible {
			plausible++
		}
	}
	require.InDelta(t, 2*134, plausible, 3)
}

// No figure is out of range, has more than 4 decimals or a negative zero, and the order of rows is no matter.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		own := rapid.SampledFrom([]string{home, "RJ90xa", "AA00aa", "RR99xx", "JJ00aa"}).Draw(t, "own")
		var stations []stand
		for range rapid.IntRange(1, 5).Draw(t, "stations") {
			stations = append(stations, stand{rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")})
		}
		var receptions []heard
		for range rapid.IntRange(0, 8).Draw(t, "receptions") {
			receptions = append(receptions, hearing(rapid.IntRange(0, len(stations)-1).Draw(t, "station"))...)
		}
		rec, err := run(own, oneBlock(), stationTable(own, stations), receptions)
		require.NoError(t, err)
		again, err := run(own, oneBlock(), stationTable(own, stations), rapid.Permutation(receptions).Draw(t, "order"))
		require.NoError(t, err)
		require.Equal(t, table.Digest(rec), table.Digest(again))
		for r := table.NewReader(rec); r.Next(); {
			checkRanges(t, r)
		}
	})
}

func checkRanges(t *rapid.T, r *table.Reader) {
	for _, c := range []struct {
		column   string
		from, to float64
	}{
		{"sun_own_deg", -90, 90}, {"sun_midpoint_deg", -90, 90}, {"sun_far_deg", -90, 90},
		{"e_takeoff_deg", 3, 90}, {"f2_low_takeoff_deg", 3, 90}, {"f2_high_takeoff_deg", 3, 90},
		{"e_more_takeoff_deg", 3, 90}, {"f2_low_more_takeoff_deg", 3, 90}, {"f2_high_more_takeoff_deg", 3, 90},
		{"long_path_km", 20000, 40031}, {"long_path_bearing_deg", 0, 359.9999},
	} {
		v := r.Float(c.column)
		require.True(t, v >= c.from && v <= c.to, "%s: %g", c.column, v)
		short, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 4, 64), 64)
		require.NoError(t, err)
		require.Equal(t, short, v, c.column)
		require.False(t, v == 0 && math.Signbit(v), c.column)
	}
}

func BenchmarkStage(b *testing.B) {
	var stations []stand
	for i := range 300 {
		stations = append(stations, stand{float64(i%160) - 80, float64(i*7%360) - 180})
	}
	var dwells []dwell
	var receptions []heard
	for n := range 24 {
		start := at("00:00:00").Add(time.Duration(n) * time.Hour)
		dwells = append(dwells, dwell{1, n + 1, 1, "20m", start, start, start.Add(time.Hour), true})
		for s := range stations {
			receptions = append(receptions, heard{1, "20m", n + 1, "low", "sent", s, start})
		}
	}
	b.ReportAllocs()
	table := stationTable(home, stations)
	for b.Loop() {
		if _, err := run(home, dwells, table, receptions); err != nil {
			b.Fatal(err)
		}
	}
}
