package reduce

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
)

// The first outputs of SplitMix64 from the state 1234567, as published with its reference code (Vigna 2015; Steele,
// Lea & Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014, figure 13). The n-th output is the
// finaliser of the state advanced n times, so that it is mix of the state advanced n-1 times.
func TestMixIsTheSplitMix64Step(t *testing.T) {
	state := uint64(1234567)
	for _, want := range []uint64{6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821} {
		require.Equal(t, want, mix(state))
		state += 0x9E3779B97F4A7C15
	}
}

// Dither: h = mix(mix(mix(seed) + slot start in Unix ms) + number), u = (h >> 11) 2^-53 - 0.5, modulo 2^64. The few
// lines below do the same by the finaliser's shifts and products written out.
func TestDither(t *testing.T) {
	step := func(x uint64) uint64 {
		z := x + 11400714819323198485
		z ^= z >> 30
		z *= 13787848793156543929
		z ^= z >> 27
		z *= 10723151780598845931
		return z ^ z>>31
	}
	rapid.Check(t, func(t *rapid.T) {
		seed, number := rapid.Uint64().Draw(t, "seed"), rapid.Int64Range(0, 1e6).Draw(t, "station")
		ms := rapid.Int64Range(-1e12, 4e12).Draw(t, "ms")
		h := step(step(step(seed)+uint64(ms)) + uint64(number))
		want := float64(h/2048)/9007199254740992 - 0.5
		got := Dither(seed, time.UnixMilli(ms), number)
		require.Equal(t, want, got)
		require.GreaterOrEqual(t, got, -0.5)
		require.Less(t, got, 0.5)
	})
}

// The dither of many receptions has the mean 0 and the variance 1/12 of a uniform number; the tolerances are five
// standard errors for 200 x 200 numbers.
func TestDitherIsUniform(t *testing.T) {
	sum, squares, n := 0.0, 0.0, 0.0
	for slot := range int64(200) {
		for number := range int64(200) {
			u := Dither(4012558071, time.UnixMilli(1789185600000+slot*30000), number)
			sum, squares, n = sum+u, squares+float64(u*u), n+1
		}
	}
	require.InDelta(t, 0, sum/n, 5*0.2887/200)
	require.InDelta(t, 1./12, squares/n, 5*0.0745/200)
}

func at(clock string) time.Time {
	t, err := time.Parse(time.DateTime, "2026-09-12 "+clock)
	if err != nil {
		panic(err)
	}
	return t
}

type dwellRow struct {
	session                 int
	band                    string
	block, position         int
	arm, start, settle, end string
	slots                   int
	kept                    bool
}

// mirrored: one block of A B B A on 20m, one dropped block under its last dwell, one dwell on 10m.
var mirrored = []dwellRow{
	{1, "20m", 1, 1, "a", "04:00:00", "04:00:20", "04:02:00", 3, true},
	{1, "20m", 1, 2, "b", "04:02:00", "04:02:20", "04:04:00", 3, true},
	{1, "20m", 1, 3, "b", "04:04:00", "04:04:20", "04:06:00", 3, true},
	{1, "20m", 1, 4, "a", "04:06:00", "04:06:20", "04:08:00", 3, true},
	{2, "20m", 1, 1, "a", "04:06:00", "04:06:20", "04:08:00", 0, false},
	{1, "10m", 1, 1, "a", "04:10:00", "04:10:20", "04:12:00", 3, true},
}

type spotRow struct {
	band, clock, direction, call, locator string
	lat, lon                              *float64
	snr                                   float64
	session, block, position              int
	arm, fate                             string
}

func inputs(dwells []dwellRow, spots []spotRow, stations [][3]string, listeners [][2]string) map[string]arrow.Record {
	d := table.NewBuilder(datasets.Dwells())
	for _, r := range dwells {
		d.Append(r.session, r.band, r.block, r.position, r.arm, 1, at(r.start), at(r.settle), at(r.end), r.slots, r.kept, nil, 0.0, true)
	}
	s := table.NewBuilder(datasets.Spots())
	for i, r := range spots {
		tx, rx := "Q1RDG", r.call
		if r.direction == "received" {
			tx, rx = rx, tx
		}
		var loc *string
		if r.locator != "" {
			loc = &r.locator
		}
		var power any
		if r.direction == "received" {
			power = 5.0
		}
		s.Append("f", i+1, r.direction, at(r.clock), at(r.clock), tx, rx, loc, r.lat, r.lon, r.band, nil, r.snr, power, nil, nil, r.session, r.block, r.position, r.arm, r.fate)
	}
	places := table.NewBuilder(datasets.Stations())
	for i, r := range stations { // call, place key, locator
		var loc *string
		var lat, lon *float64
		if r[1] != "" {
			lat, lon = new(float64), new(float64)
		}
		if r[2] != "" {
			loc = &r[2]
		} else if r[1] != "" {
			_, _ = fmt.Sscanf(r[1], "%g,%g", lat, lon)
		}
		places.Append(i, r[0], r[1], loc, lat, lon, nil, nil, nil, "unknown")
	}
	fields := []arrow.Field{{Name: "receiver", Type: arrow.BinaryTypes.String}, {Name: "start", Type: datasets.Time}}
	bg := table.NewBuilder(arrow.NewSchema(fields, nil))
	for _, l := range listeners {
		bg.Append(l[0], at(l[1]))
	}
	return map[string]arrow.Record{"dwells": d.Record(), "spots": s.Record(), "stations": places.Record(), "background": bg.Record(), "control": controlTable().Record()}
}

// controlTable is what the stage of the spots says of the control station.
func controlTable() *table.Builder {
	str, num, whole := arrow.BinaryTypes.String, arrow.PrimitiveTypes.Float64, arrow.PrimitiveTypes.Int64
	fields := []arrow.Field{
		{Name: "receiver", Type: str}, {Name: "slot", Type: datasets.Time}, {Name: "band", Type: str},
		{Name: "locator", Type: str, Nullable: true}, {Name: "latitude", Type: num, Nullable: true}, {Name: "longitude", Type: num, Nullable: true},
		{Name: "session", Type: whole}, {Name: "block", Type: whole}, {Name: "arm", Type: str}, {Name: "snr_db", Type: num},
	}
	return table.NewBuilder(arrow.NewSchema(fields, nil))
}

func run(t require.TestingT, p Params, tables map[string]arrow.Record) (*pipeline.Result, error) {
	stage := Stage(p)
	res, err := stage.Run(context.Background(), pipeline.NewInput(context.Background(), memory.DefaultAllocator, tables, nil))
	if err != nil {
		return nil, err
	}
	for _, o := range stage.Makes {
		require.NoError(t, table.Validate(res.Tables[o.Name], o.Schema), o.Name)
		require.NoError(t, table.CheckSorted(res.Tables[o.Name], table.SortKeys(o.Schema)), o.Name)
	}
	return res, nil
}

var even = Params{Seed: 7, SlotMs: 15000, Sends: "even slots"}

func lines(rec arrow.Record) []string {
	var out []string
	for i := range int(rec.NumRows()) {
		text := ""
		for c := range rec.Columns() {
			text += " " + rec.Column(c).ValueStr(i)
		}
		out = append(out, text[1:])
	}
	return out
}

func TestReceptionsAndCells(t *testing.T) {
	lat, lon := 43.5, 78.5
	spots := []spotRow{
		{"20m", "04:00:30", "sent", "Q2AB", "NN34", nil, nil, -10, 1, 1, 1, "a", "used"},
		{"20m", "04:01:00", "sent", "Q2AB", "", nil, nil, -6, 1, 1, 1, "a", "used"},
		{"20m", "04:06:30", "sent", "Q2AB", "NN34ab", nil, nil, -11, 1, 1, 4, "a", "used"},
		{"20m", "04:02:30", "sent", "Q2AB", "NN34", nil, nil, -9, 1, 1, 2, "b", "used"},
		{"20m", "04:02:30", "sent", "Q2AB", "NN34", nil, nil, -12, 1, 1, 2, "b", "merged"},
		{"20m", "04:00:45", "received", "Q2AB", "NN34", nil, nil, -1, 1, 1, 1, "a", "used"},
		{"20m", "04:00:30", "sent", "Q3CD", "", &lat, &lon, -3, 1, 1, 1, "a", "used"},
		{"20m", "04:00:00", "sent", "Q3CD", "", &lat, &lon, -3, 1, 1, 1, "a", "within the settle time"},
	}
	stations := [][3]string{{"Q2AB", "NN34ab", "NN34ab"}, {"Q3CD", "43.500000,78.500000", ""}, {"Q4EF", "", ""}}
	tables := inputs(mirrored, spots, stations, [][2]string{{"Q2AB", "04:06:00"}, {"Q3CD", "04:10:00"}, {"Q4EF", "04:00:00"}, {"Q9ZZ", "04:00:00"}})
	res, err := run(t, even, tables)
	require.NoError(t, err)

	var got []string
	for r := table.NewReader(res.Tables[TableReceptions]); r.Next(); {
		got = append(got, fmt.Sprintf("%s %s %d %s %g", r.Str("arm"), r.Str("direction"), r.Int("station"), r.Time("slot").Format("04:05"), r.Float("snr_db")))
		require.Equal(t, Dither(7, r.Time("slot"), r.Int("station")), r.Float("dither_db"))
		if sent := r.Null("power_w"); sent != (r.Str("direction") == "sent") || !sent && r.Float("power_w") != 5 {
			t.Errorf("row %d: the power of the transmitting station does not come along", len(got))
		}
	}
	require.Equal(t, []string{"a received 0 00:45 -1", "a sent 0 00:30 -10", "a sent 0 01:00 -6", "a sent 0 06:30 -11", "a sent 1 00:30 -3", "b sent 0 02:30 -9"},
		got, "every used spot is one reception; merged and other rows are none")

	require.Equal(t, []string{
		"1 10m 1 1 a 1",
		"1 20m 1 1 a 2", // it never heard the own station; Q9ZZ is not in table stations
		"1 20m 1 4 a 0", // not the dropped dwell under it
	}, lines(res.Tables[TableListening]))

	// session band block arm direction station, then slots, receptions, mean, best, listening. A received report has the
	// slots in which the station listened: from 04:00:30 on, the first edge after settling, the odd ones, twice 3.
	require.Equal(t, []string{
		"1 20m 1 a received 0 6 1 -1 -1 (null)",
		"1 20m 1 a sent 0 6 3 -9 -6 true",
		"1 20m 1 a sent 1 6 1 -3 -3 false",
		"1 20m 1 b sent 0 6 1 -9 -9 false",
	}, lines(res.Tables[TableCells]))
}

func TestWithoutBackgroundNobodyIsSaidToListen(t *testing.T) {
	res, err := run(t, even, inputs(mirrored, []spotRow{{"20m", "04:00:30", "sent", "Q2AB", "", nil, nil, -10, 1, 1, 1, "a", "used"}}, [][3]string{{"Q2AB", "", ""}}, nil))
	require.NoError(t, err)
	require.Equal(t, []string{"1 20m 1 a sent 0 6 1 -10 -10 (null)"}, lines(res.Tables[TableCells]))
}

func TestNoRowsAtAll(t *testing.T) {
	res, err := run(t, even, inputs(nil, nil, nil, nil))
	require.NoError(t, err)
	for _, rec := range res.Tables {
		require.Zero(t, rec.NumRows())
	}
}

func TestStationThatIsNotInTheTable(t *testing.T) {
	_, err := run(t, even, inputs(mirrored, []spotRow{{"20m", "04:00:30", "sent", "Q2AB", "", nil, nil, -10, 1, 1, 1, "a", "used"}}, nil, nil))
	require.EqualError(t, err, "f line 1: station Q2AB is not in table stations")
}

func TestSlotsInWhichTheStationListens(t *testing.T) {
	d := dwell{settleEnd: at("04:00:20"), end: at("04:02:00")}
	for sends, want := range map[string]int{"even slots": 3, "odd slots": 3, "every slot": 0, "as logged": 6} {
		require.Equal(t, want, Params{SlotMs: 15000, Sends: sends}.otherSlots(d), sends)
	}
}

func BenchmarkDither(b *testing.B) {
	slot := at("04:00:00")
	sum := 0.0
	b.ReportAllocs()
	for i := int64(0); b.Loop(); i++ {
		sum += Dither(7, slot, i)
	}
	require.NotZero(b, sum)
}

// A receiver that tells its position with other digits is the same station.
func TestPositionToldWithOtherDigits(t *testing.T) {
	lat, lon, roughLat, roughLon, farLat := 43.5001, 78.5002, 43.5, 78.5, 43.6
	spots := []spotRow{
		{"20m", "04:00:30", "sent", "Q3CD", "", &lat, &lon, -3, 1, 1, 1, "a", "used"},
		{"20m", "04:02:30", "sent", "Q3CD", "", &roughLat, &roughLon, -4, 1, 1, 2, "b", "used"},
	}
	stations := [][3]string{{"Q3CD", "43.500100,78.500200", ""}}
	res, err := run(t, even, inputs(mirrored, spots, stations, nil))
	require.NoError(t, err)
	for r := table.NewReader(res.Tables[TableReceptions]); r.Next(); {
		require.Zero(t, r.Int("station"))
	}
	require.EqualValues(t, 2, res.Tables[TableReceptions].NumRows())

	spots[1].lat = &farLat
	_, err = run(t, even, inputs(mirrored, spots, stations, nil))
	require.ErrorContains(t, err, "f line 2: station Q3CD is not in table stations")
}

// What only late drops take out stands apart, with the dither that it would have; who was listening then stands with the
// others.
func TestReceptionsOfLateDropsStandApart(t *testing.T) {
	d := table.NewBuilder(datasets.Dwells())
	d.Append(1, "20m", 1, 1, "a", 1, at("04:00:00"), at("04:00:20"), at("04:02:00"), 3, true, nil, 0.0, true)
	d.Append(1, "20m", 2, 1, "a", 1, at("04:10:00"), at("04:10:20"), at("04:12:00"), 0, false, datasets.ReasonDroppedLate+": rain", 0.0, true)
	tables := inputs(nil, []spotRow{
		{"20m", "04:00:30", "sent", "Q2AB", "", nil, nil, -10, 1, 1, 1, "a", "used"},
		{"20m", "04:10:30", "sent", "Q2AB", "", nil, nil, -9, 1, 2, 1, "a", datasets.FateDroppedLate},
	}, [][3]string{{"Q2AB", "", ""}}, [][2]string{{"Q2AB", "04:10:00"}})
	tables["dwells"] = d.Record()
	res, err := run(t, even, tables)
	require.NoError(t, err)
	require.EqualValues(t, 1, res.Tables[TableReceptions].NumRows())
	require.EqualValues(t, 1, res.Tables[TableListening].NumRows())
	r := table.NewReader(res.Tables[TableLate])
	require.True(t, r.Next())
	require.Equal(t, []any{int64(2), -9.0, Dither(7, at("04:10:30"), 0)}, []any{r.Int("block"), r.Float("snr_db"), r.Float("dither_db")})
	require.Equal(t, 1, r.Len())
}

// Receivers of the control station that never heard the own station are left out, with a number or without.
func TestWhoHeardTheControlStation(t *testing.T) {
	tables := inputs(mirrored, []spotRow{{"20m", "04:00:30", "sent", "Q2AB", "NN34", nil, nil, -10, 1, 1, 1, "a", "used"}},
		[][3]string{{"Q2AB", "NN34", "NN34"}, {"Q4EF", "", ""}}, nil)
	b := controlTable()
	b.Append("Q2AB", at("04:02:30"), "20m", nil, nil, nil, 1, 1, "b", -7.0)
	b.Append("Q4EF", at("04:02:30"), "20m", nil, nil, nil, 1, 1, "b", -5.0)
	b.Append("Q9ZZ", at("04:02:30"), "20m", nil, nil, nil, 1, 1, "b", -3.0)
	tables["control"] = b.Record()
	res, err := run(t, even, tables)
	require.NoError(t, err)
	r := table.NewReader(res.Tables[TableControl])
	require.True(t, r.Next())
	require.Equal(t, []any{int64(1), int64(0), "b", -7.0, Dither(7, at("04:02:30"), 0)}, []any{r.Int("block"), r.Int("station"), r.Str("arm"), r.Float("snr_db"), r.Float("dither_db")})
	require.Equal(t, 1, r.Len())
}
