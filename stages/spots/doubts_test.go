package spots

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
)

// outing plans dwells of 6 min with changes of so many minutes between them from 04:00 on; bands take turns within an
// arm, as the trials of two bands have it.
func outing(dwells, changeMin int, bands ...string) []plan {
	var out []plan
	clock := func(n, plusS int) string {
		s := n*(6+changeMin)*60 + plusS
		return fmt.Sprintf("%02d:%02d:%02d", 4+s/3600, s/60%60, s%60)
	}
	for n := range dwells {
		arm := []string{"low", "high"}[n/len(bands)%2]
		perBlock := 2 * len(bands)
		out = append(out, plan{1, bands[n%len(bands)], n/perBlock + 1, n/len(bands)%2 + 1, arm, clock(n, 0), clock(n, 30), clock(n, 360), true})
	}
	return out
}

// heard gives what two receivers report of the station in the own slots of those dwells, moved by a length of time.
func heard(dwells []plan, moved time.Duration) []row {
	var out []row
	for _, d := range dwells {
		out = append(out, heardFrom(len(out), d.band, at(d.start), at(d.end), moved)...)
	}
	return out
}

func heardFrom(lines int, band string, from, to time.Time, moved time.Duration) []row {
	var out []row
	for slot := from; slot.Before(to); slot = slot.Add(30 * time.Second) {
		for n, rx := range []string{"Q2AB", "Q3AB"} {
			r := one(lines+len(out)+1, "04:00:00")
			r.at, r.band, r.rx, r.snrDB = slot.Add(moved), band, rx, float64(-10-len(out)%7-n)
			out = append(out, r)
		}
	}
	return out
}

// Local time lets some rows fall into the wrong dwells, so the run goes on; that must not pass in silence.
func TestLocalTimeIsDoubted(t *testing.T) {
	two := outing(16, 1, "20m", "10m")
	one := outing(40, 1, "20m")
	for _, c := range []struct {
		rule   string
		dwells []plan
		rows   []row
		says   string // "" for no doubt
	}{
		{"UTC", two, heard(two, 0), ""},
		{"an hour ahead", two, heard(two, time.Hour), "adding -1 h to the times would put 100 % of all into dwells"},
		{"an hour behind", two, heard(two, -time.Hour), "adding +1 h to the times"},
		{"five and a half hours, beyond the schedule but for one row", two, append(heard(two, 5*time.Hour+30*time.Minute), heard(two[:1], 0)[0]), "adding -5 h 30 min"},
		{"a long trial, an hour ahead: most rows fit", one, heard(one, time.Hour), "adding -1 h to the times would put 100 %"},
		{"it began half an hour late and the log tells no start", two, heard(two, 30*time.Minute), "if the trial ran at another time, enter start in the log"},
		{"sent on through the changes", outing(16, 5, "20m"), heardFrom(0, "20m", at("04:00:00"), at("06:56:00"), 0), ""},
		{"sent all day on one of the bands", two, heardFrom(0, "20m", at("00:00:00"), at("12:00:00"), 0), ""},
		{"sent all evening as well", two, append(heard(two, 0), heardFrom(1000, "20m", at("14:00:00"), at("18:00:00"), 0)...), ""},
		{"another day", two, heard(two, -72*time.Hour)[:20], ""},
		{"band changes a minute late", two, append(heard(two, 0), heardFrom(1000, "20m", at("04:06:00"), at("04:07:00"), 0)...), ""},
		{"too few rows", two, heard(two, time.Hour)[:9], ""},
	} {
		t.Run(c.rule, func(t *testing.T) {
			// Another file has rows that fit, and a file is judged by itself.
			others := heard(c.dwells, 0)[:10]
			for i := range others {
				others[i].rx += "/P"
			}
			got, err := placeFiles(t, params(), c.dwells, file{name: "a", rows: c.rows}, file{name: "b", rows: others})
			require.NoError(t, err)
			if c.says == "" {
				require.Empty(t, got.codes())
				require.Empty(t, got.intake.Warnings)
				return
			}
			require.Equal(t, []string{"times_doubtful"}, got.codes())
			require.Contains(t, got.res.Notes[0].String(), c.says)
			require.Equal(t, []account.Warning{{Code: "times_doubtful", Text: got.res.Notes[0].Msg, File: "a"}}, got.intake.Warnings, "the verdicts show it too")
		})
	}
}

func TestConstantSNR(t *testing.T) {
	alike := func(n int, change func(i int, r *row)) []row {
		rows := fill(n, 0)
		for i := range rows {
			rows[i].snrDB = -10
			change(i, &rows[i])
		}
		return rows
	}
	asIs := func(int, *row) {}
	for _, c := range []struct {
		rule string
		rows []row
		text string
	}{
		{"20 alike", alike(20, asIs), "all 20 reports of this station show the same SNR: is the right column named?"},
		{"19 alike", alike(19, asIs), ""},
		{"one differs", alike(40, func(i int, r *row) { r.snrDB -= float64(i / 39) }), ""},
		{"others' reports do not count", append(alike(19, asIs), with(one(30, "04:01:00"), func(r *row) { r.tx = "Q9ZZ" })), ""},
		{"others' reports excuse nothing", append(alike(20, asIs), with(one(30, "04:01:00"), func(r *row) { r.tx, r.snrDB = "Q9ZZ", 3 })), "all 20 reports"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got, err := placeFiles(t, params(), twoBlocks, file{name: "a", rows: c.rows})
			require.NoError(t, err)
			if c.text == "" {
				require.Empty(t, got.codes())
				return
			}
			require.Equal(t, []string{"constant_snr"}, got.codes())
			require.Len(t, got.intake.Warnings, 1)
			require.Contains(t, got.intake.Warnings[0].Text, c.text)
		})
	}
}

// A row with a wrong date, another band or another mode does not tell that the data reach the last dwell.
func TestHowFarTheDataReach(t *testing.T) {
	moved := func(r row, by time.Duration) row { r.at = r.at.Add(by); return r }
	good := []row{one(1, "04:01:00"), one(2, "04:02:00")}
	const h = time.Hour
	for _, c := range []struct {
		rule        string
		more        []row
		first, last time.Time
		codes       []string
		says        string
	}{
		{"none beside", nil, at("04:01:00"), at("04:02:00"), []string{}, ""},
		{"a day after the last dwell, 04:56, counts", []row{moved(one(3, "04:56:00"), 24*h)}, at("04:01:00"), at("28:56:00"), []string{}, ""},
		{"later does not", []row{one(3, "04:03:00"), moved(one(4, "04:56:00.001"), 24*h), moved(one(5, "04:56:00"), 9000*h)}, at("04:01:00"), at("04:03:00"), []string{"far_date"},
			"a:4: warning: 2 rows, of which this is the first, have times more than a day after the schedule's end, 2026-09-12 04:56:00Z"},
		{"one row", []row{moved(one(3, "04:01:00"), 9000*h)}, at("04:01:00"), at("04:02:00"), []string{"far_date"}, "a:3: warning: 1 row has a time more than"},
		{"a day before the first dwell counts", []row{moved(one(3, "04:00:00"), -24*h)}, at("04:00:00").Add(-24 * h), at("04:02:00"), []string{}, ""},
		{"earlier does not, and is usual", []row{moved(one(3, "03:59:59"), -24*h)}, at("04:01:00"), at("04:02:00"), []string{}, ""},
		{"another band", []row{with(one(3, "04:55:00"), func(r *row) { r.band = "40m" })}, at("04:01:00"), at("04:02:00"), []string{}, ""},
		{"another mode", []row{with(one(3, "04:55:00"), func(r *row) { r.mode = "CW" })}, at("04:01:00"), at("04:02:00"), []string{}, ""},
		{"others' reports count", []row{with(one(3, "04:55:00"), func(r *row) { r.tx = "Q9ZZ" })}, at("04:01:00"), at("04:55:00"), []string{}, ""},
	} {
		t.Run(c.rule, func(t *testing.T) {
			got, err := placeFiles(t, params(), twoBlocks, file{name: "a", rows: append(good[:2:2], c.more...)})
			require.NoError(t, err)
			require.Equal(t, []time.Time{c.first, c.last}, []time.Time{*got.intake.First, *got.intake.Last})
			require.Equal(t, c.codes, got.codes())
			if c.says != "" {
				require.Contains(t, got.res.Notes[0].String(), c.says)
			}
		})
	}
	got, err := placeFiles(t, params(), twoBlocks, file{name: "b", background: true, rows: []row{moved(good[0], 9000*h)}})
	require.NoError(t, err)
	require.Nil(t, got.intake.Last, "no row that counts, no time")
}
