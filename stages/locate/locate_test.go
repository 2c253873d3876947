package locate

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/datasets"
	"fairlobe/pipeline"
	"fairlobe/pipeline/table"
	"fairlobe/stages/internal/locator"
)

// told is one row of table spots.
type told struct {
	call, locator string
	lat, lon      *float64
	minute        int
	fate          string
	received      bool
}

func at(minute int) time.Time { return time.Date(2026, 9, 12, 4, minute, 0, 0, time.UTC) }

func spotTable(all []told) arrow.Record {
	b := table.NewBuilder(datasets.Spots())
	for i, s := range all {
		direction, tx, rx := "sent", "Q1RDG", s.call
		if s.received {
			direction, tx, rx = "received", s.call, "Q1RDG"
		}
		var loc *string
		if s.locator != "" {
			loc = &s.locator
		}
		if s.fate == "" {
			s.fate = "used"
		}
		b.Append("a", i+1, direction, at(s.minute), at(s.minute), tx, rx, loc, s.lat, s.lon, "20m", nil, -3.0, nil, "FT8", nil, 1, 1, 1, "low", s.fate)
	}
	return b.Record()
}

// inputs are the stage's tables; a locator "" is one that is not told.
func inputs(all []told, listening [][2]string) map[string]arrow.Record {
	str, num := arrow.BinaryTypes.String, arrow.PrimitiveTypes.Float64
	background := table.NewBuilder(arrow.NewSchema([]arrow.Field{{Name: "receiver", Type: str}, {Name: "start", Type: datasets.Time}}, nil))
	listeners := table.NewBuilder(arrow.NewSchema([]arrow.Field{{Name: "receiver", Type: str}, {Name: "locator", Type: str, Nullable: true},
		{Name: "latitude", Type: num, Nullable: true}, {Name: "longitude", Type: num, Nullable: true}}, nil))
	for _, l := range listening {
		background.Append(l[0], at(0))
		var loc *string
		if l[1] != "" {
			loc = &l[1]
		}
		listeners.Append(l[0], loc, nil, nil)
	}
	return map[string]arrow.Record{"spots": spotTable(all), "background": background.Record(), "listeners": listeners.Record()}
}

// stations runs the stage and gives each row of its table as text.
func stations(t require.TestingT, home string, all ...told) (lines, codes []string) {
	return stationsWith(t, home, nil, all...)
}

// stationsWith is stations with what the background tells: calls and their locators.
func stationsWith(t require.TestingT, home string, listening [][2]string, all ...told) (lines, codes []string) {
	stage := Stage(Params{Locator: home})
	in := pipeline.NewInput(context.Background(), memory.DefaultAllocator, inputs(all, listening), nil)
	res, err := stage.Run(context.Background(), in)
	require.NoError(t, err)
	rec := res.Tables[TableStations]
	require.NoError(t, table.Validate(rec, stage.Makes[0].Schema))
	require.NoError(t, table.CheckSorted(rec, table.SortKeys(stage.Makes[0].Schema)))
	for r := table.NewReader(rec); r.Next(); {
		lines = append(lines, fmt.Sprintf("%d %s [%s] %s", r.Int("number"), r.Str("call"), r.Str("place"), r.Str("region")))
	}
	for _, n := range res.Notes {
		codes = append(codes, n.Code)
	}
	return lines, codes
}

func deg(v float64) *float64 { return &v }

func TestStations(t *testing.T) {
	for _, c := range []struct {
		rule  string
		told  []told
		lines []string
		codes []string
	}{
		{"no rows at all", nil, nil, nil},
		{"one receiver only", []told{{call: "Q2AB", locator: "MN93"}}, []string{"0 Q2AB [MN93] 090-120 deg, 0-200 km"}, nil},
		{"the longest locator that contains the others", []told{{call: "Q2AB", locator: "NN34"}, {call: "Q2AB", locator: "NN34ab", minute: 1}, {call: "Q2AB", minute: 2}},
			[]string{"0 Q2AB [NN34ab] 060-090 deg, 500- km"}, nil},
		{"merged rows tell of places too", []told{{call: "Q2AB", minute: 1}, {call: "Q2AB", locator: "NN34ab", fate: "merged"}},
			[]string{"0 Q2AB [NN34ab] 060-090 deg, 500- km"}, nil},
		{"rows out of scope do not", []told{{call: "Q2AB", locator: "NN34ab", fate: "outside the schedule"}}, nil, nil},
		{"places that can't agree are two stations, warned", []told{{call: "Q2AB", locator: "NN34"}, {call: "Q2AB", locator: "MN93", minute: 1}, {call: "Q2AB", minute: 2}},
			[]string{"0 Q2AB [NN34] 060-090 deg, 500- km", "1 Q2AB [MN93] 090-120 deg, 0-200 km", "2 Q2AB [] unknown"}, []string{"two_places"}},
		{"one position told with other digits", []told{{call: "Q2AB", lat: deg(43.5), lon: deg(78.5)}, {call: "Q2AB", lat: deg(43.5001), lon: deg(78.5002), minute: 1}},
			[]string{"0 Q2AB [43.500100,78.500200] 090-120 deg, 0-200 km"}, nil},
		{"a call with its suffix is a station of its own", []told{{call: "Q2AB", locator: "MN93"}, {call: "Q2AB/P", locator: "MN93"}},
			[]string{"0 Q2AB [MN93] 090-120 deg, 0-200 km", "1 Q2AB/P [MN93] 090-120 deg, 0-200 km"}, nil},
		{"no place", []told{{call: "Q2AB"}}, []string{"0 Q2AB [] unknown"}, nil},
		{"a position, with a locator beside it", []told{{call: "Q2AB", locator: "MN93", lat: deg(43.5), lon: deg(78.5)}}, []string{"0 Q2AB [43.500000,78.500000] 090-120 deg, 0-200 km"}, nil},
		{"the own square", []told{{call: "Q2AB", locator: "MN83"}, {call: "Q3AB", locator: "MN83kp"}, {call: "Q4AB", locator: "MN83aa"}},
			[]string{"0 Q3AB [MN83kp] own square", "1 Q2AB [MN83] own square", "2 Q4AB [MN83aa] own square"}, nil},
		{"numbers: first slot, then distance, bearing, call; both directions", []told{
			{call: "Q9ZZ", locator: "MN93", minute: 3, received: true}, {call: "Q3AB", locator: "MN93"}, {call: "Q2AB", locator: "MN93"}, {call: "Q8AB", locator: "MN84"}, {call: "Q7AB"}},
			[]string{"0 Q8AB [MN84] 000-030 deg, 0-200 km", "1 Q2AB [MN93] 090-120 deg, 0-200 km", "2 Q3AB [MN93] 090-120 deg, 0-200 km", "3 Q7AB [] unknown", "4 Q9ZZ [MN93] 090-120 deg, 0-200 km"}, nil},
	} {
		t.Run(c.rule, func(t *testing.T) {
			lines, codes := stations(t, "MN83kp", c.told...)
			require.Equal(t, c.lines, lines)
			require.Equal(t, c.codes, codes)
		})
	}
}

// However many calls have several places, there is one warning; it names five.
func TestOneWarningOfPlaces(t *testing.T) {
	var all []told
	for n := range 7 {
		call := fmt.Sprintf("Q%dAB", n+1)
		all = append(all, told{call: call, locator: "NN34"}, told{call: call, locator: "MN93"})
	}
	all = append(all, told{call: "Q1AB", locator: "MN94"}, told{call: "Q9ZZ", locator: "MN93"})
	for _, c := range []struct {
		told []told
		want string
	}{
		{all[:2], "1 call reports from more than one place: Q1AB (2); each place counts as a station of its own"},
		{all, "7 calls report from more than one place: Q1AB (3), Q2AB (2), Q3AB (2), Q4AB (2), Q5AB (2) and 2 more; each place counts as a station of its own"},
	} {
		_, notes := identify(readSightings(spotTable(c.told)))
		require.Len(t, notes, 1)
		require.Equal(t, c.want, notes[0].Msg)
	}
}

// Sector of 30 degrees by the bearing rounded to 1 degree; class by the distance rounded to 10 km: 0-1200, 1200-2700,
// over 2700 km; if all stations lie within 1000 km: 0-200, 200-500, 500-1000.
func TestRegions(t *testing.T) {
	home, err := locator.Decode("MN83kp")
	require.NoError(t, err)
	near, far := []float64{0, 200, 500}, []float64{0, 1200, 2700}
	for _, c := range []struct {
		bearing, km float64
		others      float64
		classes     []float64
		want        string
	}{
		{359.6, 300, 0, near, "000-030 deg, 200-500 km"},
		{359.4, 300, 0, near, "330-360 deg, 200-500 km"},
		{29.4, 194, 0, near, "000-030 deg, 0-200 km"},
		{29.5, 195, 0, near, "030-060 deg, 200-500 km"},
		{90, 495, 0, near, "090-120 deg, 500- km"},
		{90, 1004, 0, near, "090-120 deg, 500- km"}, // rounds to 1000
		{90, 1006, 0, far, "090-120 deg, 0-1200 km"},
		{90, 300, 1006, far, "090-120 deg, 0-1200 km"}, // one station beyond 1000 km changes all
		{90, 1195, 0, far, "090-120 deg, 1200-2700 km"},
		{90, 2694, 0, far, "090-120 deg, 1200-2700 km"},
		{90, 2695, 0, far, "090-120 deg, 2700- km"},
	} {
		t.Run(fmt.Sprintf("%g deg %g km beside %g km", c.bearing, c.km, c.others), func(t *testing.T) {
			s, other := standing(c.bearing, c.km), standing(0, c.others)
			classes := distanceClasses([]*entry{s, other})
			require.Equal(t, c.classes, classes)
			require.Equal(t, c.want, s.regionOf(home, classes))
		})
	}
	require.Equal(t, near, distanceClasses([]*entry{{}}), "no station has a place")
}

// Places around the poles and the date line have regions like all others, or none where there is no bearing.
func TestPolesAndDateLine(t *testing.T) {
	for _, c := range []struct {
		rule, home string
		told       told
		want       string
	}{
		{"over the date line to the east", "RJ90", told{call: "Q2AB", locator: "AJ00"}, "090-120 deg, 200-500 km"},
		{"a position on the date line", "RJ90", told{call: "Q2AB", lat: deg(0.5), lon: deg(-180)}, "090-120 deg, 0-200 km"},
		{"the North Pole", "MN83kp", told{call: "Q2AB", lat: deg(90), lon: deg(0)}, "000-030 deg, 2700- km"},
		{"the North Pole in its own square", "AR09", told{call: "Q2AB", lat: deg(90), lon: deg(-179)}, "own square"},
		{"the South Pole", "MN83kp", told{call: "Q2AB", lat: deg(-90), lon: deg(0)}, "180-210 deg, 2700- km"},
	} {
		lines, _ := stations(t, c.home, c.told)
		require.Len(t, lines, 1)
		require.Contains(t, lines[0], c.want, c.rule)
	}
}

// The table depends on the rows and not on their order, and every used or merged row has a station.
func TestOrderIsNoMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []told
		for range rapid.IntRange(0, 12).Draw(t, "rows") {
			s := told{call: rapid.SampledFrom([]string{"Q2AB", "Q3CD", "Q2AB/P"}).Draw(t, "call"), minute: rapid.IntRange(0, 5).Draw(t, "minute"),
				locator: rapid.SampledFrom([]string{"", "MN83", "NN34", "NN34ab", "NN35"}).Draw(t, "locator")}
			if rapid.IntRange(0, 3).Draw(t, "exact") == 0 {
				s.lat, s.lon = deg(44.02), deg(86.03)
			}
			all = append(all, s)
		}
		lines, codes := stations(t, "MN83kp", all...)
		again, codesAgain := stations(t, "MN83kp", rapid.Permutation(all).Draw(t, "order")...)
		require.Equal(t, lines, again)
		require.Equal(t, codes, codesAgain)
	})
}

func TestBadLocator(t *testing.T) {
	in := pipeline.NewInput(context.Background(), memory.DefaultAllocator, map[string]arrow.Record{"spots": spotTable(nil)}, nil)
	_, err := Stage(Params{Locator: "ZZ99"}).Run(context.Background(), in)
	require.ErrorContains(t, err, "placing the own station")
}

// standing is a station at a bearing and distance from MN83kp; its coordinates lie outside the own square.
func standing(bearing, km float64) *entry {
	s := &entry{distance: &km, bearing: &bearing, lat: deg(0), lon: deg(0)}
	s.round()
	return s
}

// A drop after the first look renumbers nobody: its block's rows count for who is a station, and when it was first heard.
func TestRowsOfLateDropsKeepTheNumbers(t *testing.T) {
	rows := []told{{call: "Q2AB", locator: "NN34", minute: 1}, {call: "Q3CD", locator: "NN35", minute: 2}, {call: "Q4EF", locator: "NN36", minute: 3}}
	before, _ := stations(t, "MN83kp", rows...)
	rows[0].fate, rows[1].fate = datasets.FateDroppedLate, datasets.FateDroppedLate
	after, _ := stations(t, "MN83kp", rows...)
	require.Len(t, after, 3)
	require.Equal(t, before, after)
	rows[0].fate = "block does not count"
	after, _ = stations(t, "MN83kp", rows...)
	require.Len(t, after, 2)
}

// Who only listened is numbered after all others, so that nobody's number moves, nor the regions of the others; a call
// that is a station already, wherever it listened, is no second one.
func TestWhoOnlyListenedComesLast(t *testing.T) {
	rows := []told{{call: "Q3CD", locator: "MN94", minute: 2}, {call: "Q2AB", locator: "MN93", minute: 1}}
	alone, _ := stations(t, "MN83kp", rows...)
	both, codes := stationsWith(t, "MN83kp", [][2]string{{"Q0AA", "AA00"}, {"Q0AA", "AA00"}, {"Q1AA", "MN84"}, {"Q1AA", "MN84kp"}, {"Q2AB", "NN00"}, {"Q4EF", "MN92"}, {"Q4EF", "MN95"}, {"Q5GH", ""}}, rows...)
	require.Empty(t, codes)
	require.Equal(t, alone, both[:2])
	require.Len(t, both, 6)
	require.Contains(t, both[2], "2 Q1AA [MN84kp]", "the nearest")
	require.Contains(t, both[3], "3 Q0AA [AA00]")
	require.Equal(t, []string{"4 Q4EF [] unknown", "5 Q5GH [] unknown"}, both[4:], "two places that can't agree are none")
}
