package spots

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

func TestFates(t *testing.T) {
	in := one(1, "04:01:00") // used: an even slot of the first dwell
	received := with(one(1, "04:00:45"), func(r *row) { r.tx, r.rx = "Q2AB", "Q1RDG/P" })
	for _, c := range []struct {
		rule   string
		row    row
		timeIs string
		change func(*Params)
		fate   string
		slot   string
	}{
		{"an own slot after settling", in, "", nil, "used", "04:01:00"},
		{"another spelling of the call", with(in, func(r *row) { r.tx = "Q1RDG/P" }), "", nil, "used", "04:01:00"},
		{"no mode told", with(in, func(r *row) { r.mode = "" }), "", nil, "used", "04:01:00"},
		{"the mode as a submode", with(in, func(r *row) { r.mode, r.submode = "MFSK", "FT8" }), "", nil, "used", "04:01:00"},
		{"the slot's own length", with(in, func(r *row) { r.slotS = 15 }), "", nil, "used", "04:01:00"},
		{"slot start: 2.5 s after the edge", one(1, "04:01:02.5"), "", nil, "used", "04:01:00"},
		{"slot start: 2.5 s before the edge", one(1, "04:00:57.5"), "", nil, "used", "04:01:00"},
		{"slot start: over 2.5 s", one(1, "04:01:02.6"), "", nil, "time fits no slot", ""},
		{"slot end", one(1, "04:01:15"), "slot end", nil, "used", "04:01:00"},
		{"within slot", one(1, "04:01:14.9"), "within slot", nil, "used", "04:01:00"},
		{"7.5-s modes: 1 s", one(1, "04:01:01"), "", func(p *Params) { p.SlotMs = 7500 }, "used", "04:01:00"},
		{"7.5-s modes: over 1 s", one(1, "04:01:01.1"), "", func(p *Params) { p.SlotMs = 7500 }, "time fits no slot", ""},
		{"7.5-s modes: every other slot is odd", one(1, "04:01:07.5"), "", func(p *Params) { p.SlotMs = 7500 }, "slot in which the station did not send", "04:01:07.5"},
		{"no seconds, 15-s slots", with(in, func(r *row) { r.hasSeconds = false }), "", nil, "time without seconds", ""},
		{"no seconds, 120-s slots", with(one(1, "04:02:00"), func(r *row) { r.hasSeconds = false }), "", func(p *Params) { p.SlotMs, p.Sends = 120000, "every slot" }, "used", "04:02:00"},
		{"no seconds, 120-s slots, odd minute", with(one(1, "04:03:00"), func(r *row) { r.hasSeconds = false }), "", func(p *Params) { p.SlotMs, p.Sends = 120000, "every slot" }, "time fits no slot", ""},
		{"an odd slot, even ones sent", one(1, "04:01:15"), "", nil, "slot in which the station did not send", "04:01:15"},
		{"an odd slot, odd ones sent", one(1, "04:01:15"), "", func(p *Params) { p.Sends = "odd slots" }, "used", "04:01:15"},
		{"as logged: every slot is possible", one(1, "04:01:15"), "", func(p *Params) { p.Sends = "as logged" }, "used", "04:01:15"},
		{"received in a slot without a transmission", received, "", nil, "used", "04:00:45"},
		{"received while sending", with(received, func(r *row) { r.at = at("04:01:00") }), "", nil, "slot in which the station was sending", "04:01:00"},
		{"received, as logged", with(received, func(r *row) { r.at = at("04:01:00") }), "", func(p *Params) { p.Sends = "as logged" }, "used", "04:01:00"},
		{"settle: begins before its end", one(1, "04:00:00"), "", nil, "within the settle time", "04:00:00"},
		{"settle: begins at its end", one(1, "04:00:30"), "", nil, "used", "04:00:30"},
		{"the last slot that ends by the dwell's end", one(1, "04:05:30"), "", nil, "used", "04:05:30"},
		{"dwell end is exclusive", one(1, "04:06:00"), "", nil, "outside the schedule", "04:06:00"},
		{"a slot that begins in the dwell and ends after it", one(1, "04:04:00"), "", func(p *Params) { p.SlotMs, p.Sends = 240000, "every slot" }, "outside the schedule", "04:04:00"},
		{"between dwells", one(1, "04:08:00"), "", nil, "outside the schedule", "04:08:00"},
		{"another band's dwell", with(in, func(r *row) { r.band = "10m" }), "", nil, "outside the schedule", "04:01:00"},
		{"a band that is not in the schedule", with(in, func(r *row) { r.band = "40m" }), "", nil, "band not in the schedule", ""},
		{"a dropped block", one(1, "04:41:00"), "", nil, "block does not count", "04:41:00"},
		{"another mode", with(in, func(r *row) { r.mode = "FT4" }), "", nil, "other mode", ""},
		{"another slot length", with(in, func(r *row) { r.slotS = 7.5 }), "", nil, "other mode", ""},
		{"between other stations", with(in, func(r *row) { r.tx = "Q9ZZ" }), "", nil, "between other stations", ""},
		{"the own station hears itself", with(in, func(r *row) { r.rx = "Q1RDG/P" }), "", nil, "between other stations", ""},
		{"no report", with(in, func(r *row) { r.snrDB, r.noReport, r.band = math.NaN(), "no RST_RCVD", "" }), "", nil, "no report in dB: no RST_RCVD", ""},
	} {
		t.Run(c.rule, func(t *testing.T) {
			p := params()
			if c.change != nil {
				c.change(&p)
			}
			anchor := with(one(9, "04:10:30"), func(r *row) { r.rx = "Q9YY" }) // so that something lies in the schedule
			if p.SlotMs > 15000 {
				anchor.at = at("04:12:00")
			}
			if p.Sends == "odd slots" {
				anchor.at = at("04:10:45")
			}
			got, err := placeFiles(t, p, twoBlocks, file{name: "a", timeIs: c.timeIs, rows: []row{c.row, anchor}})
			require.NoError(t, err)
			require.Equal(t, c.fate, got.fates()[1])
			for r := table.NewReader(got.res.Tables[TableSpots]); r.Next(); {
				if r.Int("line") != 1 {
					continue
				}
				require.Equal(t, c.slot == "", r.Null("slot"))
				if c.slot != "" {
					require.Equal(t, at(c.slot), r.Time("slot"))
				}
			}
		})
	}
}

func TestRowInTheTable(t *testing.T) {
	sent := with(one(3, "04:01:01"), func(r *row) {
		r.tx, r.rxAt.locator, r.frequencyMHz, r.powerW = "Q1RDG/P", "NN34ab", 14.075, 4
	})
	got, err := placeFiles(t, params(), twoBlocks, file{name: "log/a", rows: []row{sent}})
	require.NoError(t, err)
	r := table.NewReader(got.res.Tables[TableSpots])
	require.True(t, r.Next())
	require.Equal(t, []any{"log/a", int64(3), "sent", at("04:01:01"), at("04:01:00"), "Q1RDG", "Q2AB", "NN34ab", "20m", 14.075, -10.0, 4.0, "FT8", int64(1), int64(1), int64(1), "low", "used"},
		[]any{r.Str("source"), r.Int("line"), r.Str("direction"), r.Time("time"), r.Time("slot"), r.Str("transmitter"), r.Str("receiver"), r.Str("locator"), r.Str("band"),
			r.Float("frequency_mhz"), r.Float("snr_db"), r.Float("power_w"), r.Str("mode"), r.Int("session"), r.Int("block"), r.Int("position"), r.Str("arm"), r.Str("fate")})
	require.True(t, r.Null("latitude") && r.Null("submode"))
	require.Equal(t, at("04:01:01"), *got.intake.First)
}

func TestMidnightAndLeapDay(t *testing.T) {
	start := time.Date(2028, 2, 28, 23, 59, 0, 0, time.UTC)
	b := table.NewBuilder(datasets.Dwells())
	b.Append(1, "20m", 1, 1, "low", 1, start, start.Add(30*time.Second), start.Add(2*time.Minute), 4, true, nil, 0.0, true)
	b.Append(1, "20m", 1, 2, "high", 1, start.Add(24*time.Hour), start.Add(24*time.Hour+30*time.Second), start.Add(24*time.Hour+2*time.Minute), 4, true, nil, 0.0, true)
	stamp := func(line int, s string) row {
		r := one(line, "00:00:00")
		r.at, _ = time.Parse(time.RFC3339, s)
		return r
	}
	got, err := placeIn(t, params(), b.Record(), file{name: "a", rows: []row{
		stamp(1, "2028-02-28T23:59:58Z"), // the slot that begins at midnight
		stamp(2, "2028-02-29T00:00:30Z"),
		stamp(3, "2028-02-29T23:59:30Z"),
		stamp(4, "2028-03-01T00:00:30Z"),
		stamp(5, "2028-03-01T00:01:00Z"),
	}})
	require.NoError(t, err)
	require.Equal(t, map[int]string{1: "used", 2: "used", 3: "used", 4: "used", 5: "outside the schedule"}, got.fates())
}

// A session may begin while blocks of the last one, which was ended, were still planned.
func TestDwellsThatCountComeFirst(t *testing.T) {
	got, err := placeFiles(t, params(), []plan{
		{1, "20m", 1, 1, "low", "04:00:00", "04:00:30", "04:06:00", true},
		{1, "20m", 1, 2, "high", "04:01:00", "04:01:30", "04:07:00", false},
		{2, "20m", 1, 1, "low", "04:06:00", "04:06:30", "04:08:00", true},
	}, file{name: "a", rows: []row{one(1, "04:03:00"), one(2, "04:06:30"), one(3, "04:02:00")}})
	require.NoError(t, err)
	require.Equal(t, map[int]string{1: "used", 2: "used", 3: "used"}, got.fates())
}

func TestMerge(t *testing.T) {
	snr := func(r row, db float64) row { r.snrDB = db; return r }
	first := one(1, "04:01:00")
	got, err := placeFiles(t, params(), twoBlocks,
		file{name: "a", rows: []row{first, snr(one(2, "04:01:01"), -8), with(one(3, "04:01:00"), func(r *row) { r.rx = "Q2AB/P" })}},
		file{name: "b", rows: []row{
			snr(one(11, "04:01:00"), -8), // says the same as line 2, a second earlier
			snr(one(12, "04:01:00"), -12),
			snr(one(17, "04:01:02"), -8), // and so does this
			with(one(13, "04:01:30"), func(r *row) { r.tx = "Q1RDG/P" }),
			with(one(14, "04:01:30"), func(r *row) { r.rxAt.locator = "NN34" }),
			one(15, "04:01:15"), // out of scope rows are not merged
			one(16, "04:01:15"),
		}})
	require.NoError(t, err)
	require.Equal(t, map[int]string{
		1: "merged", 2: "merged", 3: "used", 11: "used", 12: "merged", 17: "merged", // the greatest SNR is kept; a suffix is another station
		13: "merged", 14: "used", // of equal SNR, the one that tells its place
		15: "slot in which the station did not send", 16: "slot in which the station did not send",
	}, got.fates())
	require.Equal(t, 2, got.intake.Clashes, "lines 1 and 12 told another SNR, and three others did not")
	require.Equal(t, []string{"clash"}, got.codes())
	require.Equal(t, 3, got.intake.Used)
	require.Equal(t, 5, got.intake.Merged)
}

func TestListening(t *testing.T) {
	heard := func(line int, clock, tx, rx, band string) row {
		return with(one(line, clock), func(r *row) { r.tx, r.rx, r.band = tx, rx, band })
	}
	got, err := placeFiles(t, params(), twoBlocks, file{name: "bg", background: true, refused: 2, rows: []row{
		heard(1, "04:01:00", "Q5XX", "Q2AB", "20m"),
		heard(2, "04:01:15", "Q6XX", "Q2AB", "20m"),  // union: station and dwell count once; others may send in any slot
		heard(3, "04:01:00", "Q1RDG", "Q3AB", "20m"), // a report of the own station is no evidence of listening
		heard(4, "04:01:00", "Q5XX", "Q1RDG", "20m"), // the own station listens to itself
		heard(5, "04:01:00", "Q5XX", "Q4AB", "10m"),  // another band's dwell
		with(heard(6, "04:01:00", "Q5XX", "Q4AB", "20m"), func(r *row) { r.mode = "CW" }),
		heard(7, "04:08:00", "Q5XX", "Q4AB", "20m"), // between dwells
		heard(8, "04:21:00", "Q5XX", "Q2AB", "10m"),
		heard(9, "04:01:08", "Q5XX", "Q4AB", "20m"), // fits no slot
	}})
	require.NoError(t, err)
	var lines []string
	for r := table.NewReader(got.res.Tables[TableBackground]); r.Next(); {
		lines = append(lines, r.Str("receiver")+" "+r.Time("start").Format("15:04:05"))
	}
	require.Equal(t, []string{"Q2AB 04:00:00", "Q2AB 04:20:00"}, lines)
	places := got.res.Tables[TableListeners]
	require.EqualValues(t, 1, places.NumRows(), "one place, told twice")
	r := table.NewReader(places)
	require.True(t, r.Next())
	require.Equal(t, "Q2AB", r.Str("receiver"))
	require.Equal(t, 9, got.intake.Background)
	require.Equal(t, 11, got.intake.Read)
	require.Equal(t, map[string]int{"background": 9}, got.intake.Reasons)
	require.Equal(t, at("04:21:00"), *got.intake.Last, "background counts for how far the data reach")
}

// fill gives n rows at the own slots of the first two dwells, moved by a length of time.
func fill(n int, moved time.Duration) []row {
	var out []row
	for i := range n {
		r := one(i+1, "04:00:30")
		r.at = r.at.Add(time.Duration(i%10)*30*time.Second + moved)
		r.rx, r.snrDB = fmt.Sprintf("Q2A%c", 'A'+i/10), float64(-10-i%3)
		out = append(out, r)
	}
	return out
}

func TestTimesAreDoubted(t *testing.T) {
	for _, c := range []struct {
		rule  string
		files []file
		codes []string
		says  string
	}{
		{"times that fit raise no doubt", []file{{name: "a", rows: fill(20, 0)}}, []string{}, ""},
		{"10 % are no doubt", []file{{name: "a", rows: append(fill(18, 0), fill(2, 15*time.Second)...)}}, []string{}, ""},
		{"over 10 %", []file{{name: "a", rows: append(fill(17, 0), fill(3, 15*time.Second)...)}}, []string{"misplaced"}, "3 of 20 reports"},
		{"all: the shift is proposed", []file{{name: "a", rows: fill(20, 15*time.Second)}}, []string{"misplaced"}, "adding -15 s to its times would put 100 %"},
		{"a clock between the edges", []file{{name: "a", rows: fill(20, 6*time.Second)}}, []string{"misplaced"}, "adding -6 s to its times"},
		{"a file is judged by itself", []file{{name: "a", rows: fill(90, 0)}, {name: "b", rows: fill(20, 15*time.Second)}}, []string{"misplaced"}, "b: warning"},
		{"too few rows to judge", []file{{name: "a", rows: fill(9, 15*time.Second)}}, []string{}, ""},
		{"what was made outside the dwells is not counted", []file{{name: "a", rows: append(fill(100, 24*time.Hour), fill(20, 15*time.Second)...)}}, []string{"misplaced"}, "20 of 20"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got, err := placeFiles(t, params(), twoBlocks, c.files...)
			require.NoError(t, err)
			require.Equal(t, c.codes, got.codes())
			if c.says != "" {
				require.Contains(t, got.res.Notes[0].String(), c.says)
			}
		})
	}
}

func TestNoneInTheSchedule(t *testing.T) {
	quiet := with(one(1, "04:01:00"), func(r *row) { r.snrDB, r.noReport = math.NaN(), "no RST_RCVD" })
	for _, c := range []struct {
		rule  string
		files []file
		says  []string
	}{
		{"local time: both spans and the shift", []file{{name: "a", rows: fill(20, 5*time.Hour+30*time.Minute)}},
			[]string{"a: rows were read and none lies in the schedule: the rows go from 2026-09-12 09:30:30Z to 2026-09-12 09:35:00Z",
				"the schedule from 2026-09-12 04:00:00Z to 2026-09-12 04:56:00Z", "adding -5 h 30 min to the times would put 100 %", "local time"}},
		{"each file by its own time_is", []file{{name: "a", timeIs: "slot end", rows: fill(20, 2*time.Hour+15*time.Second)}}, []string{"adding -2 h to the times"}},
		{"another day: no shift", []file{{name: "a", rows: fill(20, 72*time.Hour)}}, []string{"20 of 20: outside the schedule", "mend: check the dates"}},
		{"not this station", []file{{name: "a", rows: []row{with(one(1, "04:01:00"), func(r *row) { r.tx = "Q9ZZ" })}}},
			[]string{"1 of 1: between other stations", "no row has a report of Q1RDG or Q1RDG/P"}},
		{"no reports in dB", []file{{name: "a", rows: []row{quiet}}}, []string{"1 of 1: no report in dB"}},
	} {
		t.Run(c.rule, func(t *testing.T) {
			_, err := placeFiles(t, params(), twoBlocks, c.files...)
			require.Error(t, err)
			for _, s := range c.says {
				require.Contains(t, err.Error(), s)
			}
		})
	}
}

func TestNothingReadIsNoFault(t *testing.T) {
	for _, files := range [][]file{nil, {{name: "a"}}, {{name: "a", refused: 5}}, {{name: "b", background: true, rows: []row{one(1, "09:00:00")}}}} {
		got, err := placeFiles(t, params(), twoBlocks, files...)
		require.NoError(t, err)
		require.Zero(t, got.res.Tables[TableSpots].NumRows())
	}
	got, err := placeFiles(t, params(), twoBlocks, file{name: "a", rows: []row{one(1, "04:01:15")}})
	require.NoError(t, err, "a slot without a transmission lies in the schedule all the same")
	require.Zero(t, got.intake.Used)
}

// rows draws rows that often share a key.
func drawRows(t *rapid.T) []row {
	n := rapid.IntRange(0, 25).Draw(t, "rows")
	var out []row
	for i := range n {
		r := emptyRow()
		r.line, r.hasSeconds = i+1, rapid.IntRange(0, 9).Draw(t, "seconds") > 0
		r.at = at("04:00:00").Add(time.Duration(rapid.IntRange(-2, 40).Draw(t, "slot"))*15*time.Second + time.Duration(rapid.SampledFrom([]int{0, 0, 0, 1, 6}).Draw(t, "off"))*time.Second)
		r.tx = rapid.SampledFrom([]string{"Q1RDG", "Q1RDG/P", "Q1RDG", "Q2AB"}).Draw(t, "tx")
		r.rx = rapid.SampledFrom([]string{"Q2AB", "Q3CD", "Q1RDG"}).Draw(t, "rx")
		r.band = rapid.SampledFrom([]string{"20m", "20m", "20m", "10m", "40m"}).Draw(t, "band")
		r.mode = rapid.SampledFrom([]string{"FT8", "", "FT4"}).Draw(t, "mode")
		r.snrDB = float64(rapid.IntRange(-12, -10).Draw(t, "snr"))
		r.rxAt.locator = rapid.SampledFrom([]string{"", "NN34", "NN34ab", "NN35"}).Draw(t, "locator")
		if rapid.Bool().Draw(t, "position") {
			r.rxAt.lat, r.rxAt.lon = float64(rapid.IntRange(0, 1).Draw(t, "lat")), 2
		}
		if rapid.IntRange(0, 9).Draw(t, "no report") == 0 {
			r.snrDB, r.noReport = math.NaN(), "none"
		}
		out = append(out, r)
	}
	return out
}

// content gives table spots without where the rows stand, sorted.
func (o *outcome) content() []string {
	var out []string
	rec := o.res.Tables[TableSpots]
	for i := range int(rec.NumRows()) {
		text := ""
		for c, f := range rec.Schema().Fields() {
			if f.Name != "source" && f.Name != "line" {
				text += rec.Column(c).ValueStr(i) + "|"
			}
		}
		out = append(out, text)
	}
	slices.Sort(out)
	return out
}

// Rows read = used + merged + out of scope + quarantined (asked in placeIn), one used row for each key, and the same
// tables, but for where a row stands, whatever the order of lines and files.
func TestOrderOfRowsAndFilesIsNoMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := append(drawRows(t), one(99, "04:00:30"))
		p := params()
		p.Sends = rapid.SampledFrom([]string{"even slots", "odd slots", "every slot", "as logged"}).Draw(t, "sends")
		refused := rapid.IntRange(0, 3).Draw(t, "refused")
		a, err := placeFiles(t, p, twoBlocks, file{name: "a", rows: rows, refused: refused})
		require.NoError(t, err)
		require.Equal(t, len(rows)+refused, a.intake.Read)

		keys := map[string]int{}
		for r := table.NewReader(a.res.Tables[TableSpots]); r.Next(); {
			if r.Str("fate") == "used" {
				keys[r.Str("transmitter")+r.Str("receiver")+r.Str("band")+r.Time("slot").String()]++
			}
		}
		for k, n := range keys {
			require.Equal(t, 1, n, k)
		}
		require.Len(t, keys, a.intake.Used)

		mixed := rapid.Permutation(rows).Draw(t, "order")
		for i := range mixed {
			mixed[i].line = i + 1
		}
		cut := rapid.IntRange(0, len(mixed)).Draw(t, "cut")
		b, err := placeFiles(t, p, twoBlocks, file{name: "z", rows: mixed[:cut]}, file{name: "y", rows: mixed[cut:], refused: refused})
		require.NoError(t, err)
		require.Equal(t, a.content(), b.content())
		a.intake.Warnings, b.intake.Warnings = nil, nil // they speak of one file each
		require.Equal(t, a.intake, b.intake)
	})
}

func TestShiftInWords(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-15 * time.Second: "-15 s", 2 * time.Hour: "+2 h", -(5*time.Hour + 30*time.Minute): "-5 h 30 min", 7500 * time.Millisecond: "+7.5 s", 90 * time.Second: "+1 min 30 s",
	} {
		require.Equal(t, want, inWords(d))
	}
}
